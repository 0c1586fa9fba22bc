import { createGunzip } from 'node:zlib';

/** A stream that ends within its gzip data, or that is damaged. What could be unpacked before was handed over. */
export class GzipError extends Error {
  readonly cutShort: boolean;

  constructor(cause: NodeJS.ErrnoException) {
    super(cause.message, { cause });
    this.name = 'GzipError';
    this.cutShort = cause.code === 'Z_BUF_ERROR';
  }
}

/**
 * Unpacks gzip data (also several members in a row) chunk by chunk, and loses nothing that comes before an error: each
 * input chunk's output is drawn before the next is given, and all of it before the end is. Throws GzipError.
 */
export async function* gunzipped(chunks: AsyncIterable<Uint8Array>, outputBytes: number): AsyncGenerator<Buffer> {
  const gunzip = createGunzip({ chunkSize: outputBytes });
  let failure: NodeJS.ErrnoException | null = null;
  let wake: () => void = () => {};
  gunzip.on('error', (error) => {
    failure = error;
    wake();
  });
  gunzip.on('readable', () => wake());
  gunzip.on('end', () => wake());

  async function* drawUntil(done: () => boolean): AsyncGenerator<Buffer> {
    for (;;) {
      for (let output: Buffer | null = gunzip.read(); output !== null; output = gunzip.read()) yield output;
      if (failure !== null) throw new GzipError(failure);
      if (done()) return;
      await new Promise<void>((resolve) => {
        wake = resolve;
        if (failure !== null || done() || gunzip.readableLength > 0) resolve();
      });
    }
  }

  try {
    for await (const chunk of chunks) {
      let taken = false;
      gunzip.write(chunk, () => {
        taken = true;
        wake();
      });
      yield* drawUntil(() => taken);
    }
    gunzip.end();
    yield* drawUntil(() => gunzip.readableEnded);
  } finally {
    gunzip.destroy();
  }
}
