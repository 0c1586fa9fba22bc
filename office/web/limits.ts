/** Everything that a caller can make the server do or hold is bounded here. Counts of requests are per minute unless the name says more. */
export const WEB_LIMITS = {
  /** A wish has a note of 300 characters: some 1.5 KB at most. */
  bodyBytes: 4_096,
  headerBytes: 8_192,
  connections: 1_024,
  /** A request must be whole within this time. */
  requestMs: 10_000,

  /** Whatever it is, also page files and paths that do not exist. An office may share one address. */
  anything: 3_000,
  /** Per signed-in name. */
  reads: 300,
  writes: 60,
  /** Attempts to sign in. Ten people at the change of shifts, each with two mistakes. */
  signInsOfAddress: 30,
  /** In a quarter of an hour: 2,880 guesses a day, against a password of twelve characters. Sessions that exist go on meanwhile. */
  signInsOfName: 30,

  /** Each takes 128 MB and some tenths of a second of one core. */
  hashesAtOnce: 2,
  hashesWaiting: 16,

  sessionMs: 12 * 3_600_000,

  liveInAll: 300,
  /** Tabs of one browser; it opens no more than six connections to one host in any case. */
  livePerSession: 6,
  /** What waits for one reader beyond what the kernel holds. Past it changes are kept per truck, the last of each. */
  liveBufferBytes: 262_144,
  /** Trucks that changed while a reader was behind. Past it the reader gets the whole board anew. */
  liveMissed: 500,
  /** A reader that is behind for longer, and cannot take so many bytes per second, is dropped; the browser connects again. */
  liveStallMs: 30_000,
  liveSlowestBytesPerS: 32_768,
  /** A stream of who came through a proxy ends after this; the browser connects again, and the proxy says whether it may. */
  liveByProxyMs: 3_600_000,
  heartbeatMs: 15_000,

  events: 1_000,
  csvRows: 5_000,
  seriesMs: 31 * 86_400_000,

  /** The page's files, read once. */
  pageFiles: 64,
  pageBytes: 8_388_608,

  /** After it connections are cut. */
  closeMs: 1_500,
};
export type WebLimits = typeof WEB_LIMITS;
