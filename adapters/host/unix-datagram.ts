export interface DatagramSender {
  /** Throws when the datagram cannot be handed over at once. */
  tell(text: string): void;
  close(): void;
}

/**
 * Sends datagrams to a socket in the file system. The one place that loads the package, which is not built everywhere.
 * Rejects, with one line, when it cannot be had, and for abstract sockets (`@name`): the package hands over C strings, and
 * an abstract name begins with a zero. The socket holds the process until it is closed.
 */
export async function openDatagram(path: string): Promise<DatagramSender> {
  if (!path.startsWith('/')) throw new Error(`${path}: only sockets in the file system can be written to`);
  const { default: dgram } = await import('unix-dgram').catch((cause: unknown) => {
    throw new Error('the package "unix-dgram" is not built here; run npm ci with a C++ compiler', { cause });
  });
  const socket = dgram.createSocket('unix_dgram');
  return {
    tell: (text) => {
      const data = Buffer.from(text);
      socket.send(data, 0, data.length, path, (cause) => {
        if (cause !== undefined) throw new Error(`${path}: cannot be written to (${cause.message})`, { cause });
      });
    },
    close: () => socket.close(),
  };
}
