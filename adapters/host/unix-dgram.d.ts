/** What we use of the package, which has no types of its own. */
declare module 'unix-dgram' {
  interface Socket {
    /** Calls back at once. `error.code` is the negative errno. */
    send(data: Buffer, offset: number, length: number, path: string, callback: (error?: Error) => void): void;
    close(): void;
  }
  const dgram: { createSocket(type: 'unix_dgram'): Socket };
  export default dgram;
}
