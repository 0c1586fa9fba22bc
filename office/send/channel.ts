import type { QueuedNotice } from '../store/contract.js';

/**
 * What came of one attempt. `why` is for the log and the store: one line, without secrets and without what the other side has said
 * in its own words.
 */
export type Outcome =
  | { kind: 'sent'; note?: string }
  /** It may go better later; notBeforeMs: the other side has asked for that long. */
  | { kind: 'again'; why: string; notBeforeMs?: number }
  /** It will never go: the other side does not want it. */
  | { kind: 'never'; why: string };

/** One way out of the office. */
export interface Channel {
  readonly name: string;
  /** Ends within the channel's own time limit, and soon after `signal` is aborted. Never rejects for what the world does. */
  send(queued: Pick<QueuedNotice, 'id' | 'notice'>, signal: AbortSignal): Promise<Outcome>;
}

/** An error of a connection in a few words: its code, never its text, in which there may be what the other side has sent. */
export function errorWords(error: unknown): string {
  // The mail library keeps the system's own code beside its own.
  const { originalCode, code = null } = error as { originalCode?: unknown; code?: unknown };
  return codeWords(originalCode ?? code);
}

function codeWords(code: unknown): string {
  if (typeof code === 'string' && /^[A-Z][A-Z0-9_]{1,60}$/.test(code)) return WORDS[code] ?? code;
  return 'the connection failed';
}

const WORDS: Record<string, string> = {
  ECONNREFUSED: 'nothing listens there (ECONNREFUSED)',
  ENOTFOUND: 'its name is not known (ENOTFOUND)',
  EAI_AGAIN: 'its name cannot be looked up now (EAI_AGAIN)',
  ETIMEDOUT: 'it does not answer (ETIMEDOUT)',
  ECONNECTION: 'it has broken the connection (ECONNECTION)',
  EPROTOCOL: 'it does not answer as it should (EPROTOCOL)',
  ETLS: 'it does not change over to TLS (ETLS)',
  ECONNRESET: 'it has broken the connection (ECONNRESET)',
  CERT_HAS_EXPIRED: 'its certificate has expired (CERT_HAS_EXPIRED)',
  ERR_TLS_CERT_ALTNAME_INVALID: 'its certificate is for another name (ERR_TLS_CERT_ALTNAME_INVALID)',
  DEPTH_ZERO_SELF_SIGNED_CERT:
    'its certificate is signed by nobody who is trusted; see `ca` (DEPTH_ZERO_SELF_SIGNED_CERT)',
  SELF_SIGNED_CERT_IN_CHAIN: 'its certificate is signed by nobody who is trusted; see `ca` (SELF_SIGNED_CERT_IN_CHAIN)',
  UNABLE_TO_VERIFY_LEAF_SIGNATURE: 'its certificate cannot be checked; see `ca` (UNABLE_TO_VERIFY_LEAF_SIGNATURE)',
  UNABLE_TO_GET_ISSUER_CERT_LOCALLY: 'its certificate cannot be checked; see `ca` (UNABLE_TO_GET_ISSUER_CERT_LOCALLY)',
};
