/** How people come in. Resolved from office.yaml: secrets have been read. */
export interface WebSettings {
  listen: { kind: 'tcp'; host: string; port: number } | { kind: 'unix'; path: string };
  /** The address in people's browsers, e.g. https://board.northline.example; null: that of `listen`. Writes must come from there. */
  origin: string | null;
  /**
   * A reverse proxy puts the caller's address last into X-Forwarded-For, and limits go by it; without it all who come through the proxy
   * share one address. Unix socket or loopback only, as anybody else could write what they like there.
   */
  forwardedFor?: boolean;
  signIn:
    | { kind: 'accounts' }
    /** A reverse proxy says who it is, in this header; secret stands in the header x-axlepost-proxy. Unix socket or loopback only. */
    | { kind: 'proxy'; userHeader: string; secret: string };
}
