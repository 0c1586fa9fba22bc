import { STATUS_CODES } from 'node:http';
import { StoreError } from '../store/contract.js';

/** The caller's mistake, or what cannot be done now: one line for people, with nothing of the inside. */
export class WebError extends Error {
  readonly status: number;
  readonly headers: Readonly<Record<string, string>>;

  constructor(status: number, line: string, headers: Readonly<Record<string, string>> = {}) {
    super(line);
    this.status = status;
    this.headers = headers;
  }
}

/** The server cannot start as it is configured: one line that says what to change. */
export class WebStartError extends Error {}

export interface ErrorAnswer {
  status: number;
  line: string;
  headers: Readonly<Record<string, string>>;
  /** For our own log: what the caller is not told. */
  log: string | null;
}

/** Codes of the web framework, in words. */
const FRAMEWORK: Readonly<Record<string, string>> = {
  FST_ERR_CTP_BODY_TOO_LARGE: 'the body is too long',
  FST_ERR_CTP_INVALID_MEDIA_TYPE: 'the body must be JSON (content-type: application/json)',
  FST_ERR_CTP_INVALID_JSON_BODY: 'the body is not JSON',
  FST_ERR_CTP_INVALID_CONTENT_LENGTH: 'the body is not as long as its content-length says',
  FST_ERR_BAD_URL: 'this is no address',
  FST_ERR_MAX_PARAM_LENGTH: 'there is nothing here',
};

/** What the caller is told of whatever was thrown. */
export function answerOf(error: unknown): ErrorAnswer {
  if (error instanceof WebError)
    return { status: error.status, line: error.message, headers: error.headers, log: null };
  if (error instanceof StoreError) {
    const line = 'the office cannot reach its store now; try again in a moment';
    return { status: 503, line, headers: { 'retry-after': '5' }, log: error.message };
  }
  const { statusCode: status = 500, code = '' } = error as { statusCode?: number; code?: string };
  if (status >= 400 && status < 500) {
    const line = FRAMEWORK[code] ?? STATUS_CODES[status]?.toLowerCase() ?? 'refused';
    // What is left of a body that is too long is not read.
    return { status, line, headers: status === 413 ? { connection: 'close' } : {}, log: null };
  }
  const log = error instanceof Error ? (error.stack ?? error.message) : String(error);
  return { status: 500, line: 'a mistake in the office; it is in its log', headers: {}, log };
}
