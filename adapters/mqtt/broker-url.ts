const DEFAULT_PORTS: Readonly<Record<string, number>> = { mqtt: 1883, mqtts: 8883, ws: 80, wss: 443 };
export type BrokerProtocol = 'mqtt' | 'mqtts' | 'ws' | 'wss';

/** A broker's address taken apart, so that what is printed can never hold a password. */
export interface BrokerAddress {
  protocol: BrokerProtocol;
  host: string;
  port: number;
  path: string;
  username: string | null;
  password: string | null;
  tls: boolean;
  loopback: boolean;
  /** For people: protocol, host and port only. */
  printable: string;
}

/** `mqtt://`, `mqtts://`, `ws://` or `wss://`; otherwise one line that does not repeat the URL. Never throws. */
export function parseBrokerUrl(
  url: string,
): { address: BrokerAddress; error: null } | { address: null; error: string } {
  const wanted = 'write mqtt://HOST:PORT or mqtts://HOST:PORT';
  let parsed: URL;
  let username: string;
  let password: string;
  try {
    parsed = new URL(url);
    username = decodeURIComponent(parsed.username);
    password = decodeURIComponent(parsed.password);
  } catch {
    return { address: null, error: `the broker's URL cannot be read; ${wanted}` };
  }
  const protocol = parsed.protocol.slice(0, -1);
  const port = parsed.port === '' ? DEFAULT_PORTS[protocol] : Number(parsed.port);
  if (port === undefined) return { address: null, error: `the broker's URL has an unknown protocol; ${wanted}` };
  if (parsed.hostname === '') return { address: null, error: `the broker's URL has no host; ${wanted}` };
  const host = parsed.hostname.replace(/^\[(.*)\]$/, '$1');
  return {
    address: {
      protocol: protocol as BrokerProtocol,
      host,
      port,
      path: parsed.pathname === '' ? '/' : parsed.pathname,
      username: username === '' ? null : username,
      password: password === '' ? null : password,
      tls: protocol === 'mqtts' || protocol === 'wss',
      loopback: host === 'localhost' || host === '::1' || /^127(\.\d{1,3}){3}$/.test(host),
      printable: `${protocol}://${parsed.hostname}:${port}`,
    },
    error: null,
  };
}
