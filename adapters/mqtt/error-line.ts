import type { WallMs } from '../../daemon/time.js';

/**
 * Why a connection failed, in words, by the code of Node or OpenSSL
 * (https://nodejs.org/api/tls.html#x509-certificate-error-codes; alerts: RFC 8446 §6.2, RFC 5246 §7.2.2).
 */
const WORDS: Readonly<Record<string, string>> = {
  CERT_HAS_EXPIRED: "the broker's certificate has expired; it needs a new one",
  CERT_NOT_YET_VALID: "the broker's certificate is not valid yet",
  DEPTH_ZERO_SELF_SIGNED_CERT: "the broker's certificate is signed by itself and not in mqtt.ca",
  SELF_SIGNED_CERT_IN_CHAIN: "the broker's certificate is signed by an authority that mqtt.ca does not have",
  UNABLE_TO_GET_ISSUER_CERT: "the broker's certificate is signed by an authority that mqtt.ca does not have",
  UNABLE_TO_GET_ISSUER_CERT_LOCALLY: "the broker's certificate is signed by an authority that mqtt.ca does not have",
  UNABLE_TO_VERIFY_LEAF_SIGNATURE: "the broker's certificate is signed by an authority that mqtt.ca does not have",
  CERT_SIGNATURE_FAILURE: "the broker's certificate is signed by another authority of the same name as one in mqtt.ca",
  CERT_REVOKED: "the broker's certificate has been revoked",
  ERR_TLS_CERT_ALTNAME_INVALID: "the broker's certificate is for another name than that in mqtt.url",
  ERR_SSL_TLSV13_ALERT_CERTIFICATE_REQUIRED: 'the broker wants a certificate of ours: set mqtt.cert and mqtt.key',
  ERR_SSL_SSLV3_ALERT_CERTIFICATE_EXPIRED: 'the broker says that our certificate (mqtt.cert) has expired',
  ERR_SSL_SSLV3_ALERT_CERTIFICATE_REVOKED: 'the broker says that our certificate (mqtt.cert) has been revoked',
  ERR_SSL_SSLV3_ALERT_CERTIFICATE_UNKNOWN: 'the broker does not take our certificate (mqtt.cert)',
  ERR_SSL_SSLV3_ALERT_BAD_CERTIFICATE: 'the broker does not take our certificate (mqtt.cert)',
  ERR_SSL_TLSV1_ALERT_UNKNOWN_CA: 'the broker does not know the authority that signed our certificate (mqtt.cert)',
  ERR_SSL_TLSV1_ALERT_DECRYPT_ERROR: 'the broker does not take our certificate (mqtt.cert)',
  ERR_SSL_SSLV3_ALERT_HANDSHAKE_FAILURE:
    'the broker refuses the encryption; it may want a certificate of ours (mqtt.cert)',
  ERR_SSL_TLSV1_ALERT_PROTOCOL_VERSION: 'the broker speaks no TLS version that is still safe (1.2 or newer)',
  ERR_SSL_UNSUPPORTED_PROTOCOL: 'the broker speaks no TLS version that is still safe (1.2 or newer)',
  ERR_SSL_WRONG_VERSION_NUMBER: 'no TLS there: is that the port for unencrypted connections?',
  ERR_SSL_PACKET_LENGTH_TOO_LONG: 'no TLS there: is that the port for unencrypted connections?',
};

const DATES = new Set(['CERT_HAS_EXPIRED', 'CERT_NOT_YET_VALID']);
/** Longest line, so that a log is never filled by what a broker says. */
const MAX_LINE = 200;

/** What is known of the host's clock, which is the one that certificates are judged by. */
export interface HostClockView {
  wallMs: WallMs;
  isRight: boolean;
}

/** One line without address and credentials; never longer than 200 letters and the code. */
export function errorLine(error: unknown, clock: HostClockView): string {
  const { message } = error as { message?: unknown };
  const code = codeOf(error);
  if (typeof code === 'string') {
    if (DATES.has(code) && !clock.isRight) {
      const now = new Date(clock.wallMs).toISOString();
      return `the broker's certificate is not valid at this clock (${now}) and the clock is not known to be right (${code})`;
    }
    // A socket's message repeats the address; its code says all that is needed.
    return WORDS[code] === undefined ? code.slice(0, MAX_LINE) : `${WORDS[code]} (${code})`;
  }
  return typeof message === 'string' && message !== '' ? message.slice(0, MAX_LINE) : 'unknown error';
}

/** While it writes, Node gives OpenSSL's errors as EPROTO, with the reason in the message: `…:SSL routines::wrong version number:…`. */
function codeOf(error: unknown): unknown {
  const { code, message } = error as { code?: unknown; message?: unknown };
  const reason = code === 'EPROTO' ? /:SSL routines:[^:]*:([^:]+):/.exec(String(message))?.[1] : undefined;
  return reason === undefined ? code : `ERR_SSL_${reason.toUpperCase().replaceAll(' ', '_')}`;
}
