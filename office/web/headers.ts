import type { FastifyHelmetOptions } from '@fastify/helmet';

const YEAR_S = 365 * 86_400;

/**
 * Only the page's own files, from here; no inline script or style, no frame around it, no form that goes elsewhere, and no text that
 * becomes markup (trusted types: the page makes none).
 */
export const CONTENT_SECURITY_POLICY: Readonly<Record<string, readonly string[]>> = {
  'default-src': ["'none'"],
  'script-src': ["'self'"],
  'style-src': ["'self'"],
  'img-src': ["'self'"],
  'connect-src': ["'self'"],
  'base-uri': ["'none'"],
  'form-action': ["'self'"],
  'frame-ancestors': ["'none'"],
  'require-trusted-types-for': ["'script'"],
  'trusted-types': ["'none'"],
};

/** The board needs none of what a page may ask of a device. */
export const PERMISSIONS_POLICY = 'camera=(), geolocation=(), microphone=(), payment=(), usb=()';

export function helmetOptions(isHttps: boolean): FastifyHelmetOptions {
  const directives = Object.entries(CONTENT_SECURITY_POLICY).map(([name, values]) => [name, [...values]] as const);
  return {
    contentSecurityPolicy: { useDefaults: false, directives: Object.fromEntries(directives) },
    // A browser that has seen it once would refuse the board over plain http: only where https is certain.
    strictTransportSecurity: isHttps ? { maxAge: YEAR_S, includeSubDomains: false } : false,
    xFrameOptions: { action: 'deny' },
    crossOriginOpenerPolicy: { policy: 'same-origin' },
    crossOriginResourcePolicy: { policy: 'same-origin' },
    // Not no-referrer: with it some requests of the page itself would have no Origin.
    referrerPolicy: { policy: 'same-origin' },
  };
}
