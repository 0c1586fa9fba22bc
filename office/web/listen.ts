import { chmod, lstat, unlink } from 'node:fs/promises';
import { connect } from 'node:net';
import type { FastifyInstance } from 'fastify';
import { WebStartError } from './errors.js';
import type { WebSettings } from './settings.js';

/** The proxy runs under a name of its own, and shares the group. */
const SOCKET_MODE = 0o660;

const REASONS: Readonly<Record<string, string>> = {
  EADDRINUSE: 'is in use; name another one in the office file (board: {listen})',
  EADDRNOTAVAIL: 'is no address of this machine',
  EACCES: 'may not be used by this account',
  ENOTFOUND: 'is not known',
  ENOENT: 'is in a folder that does not exist',
};

/** Gives where it listens, for people. Throws a WebStartError when it cannot. */
export async function listenAt(app: FastifyInstance, listen: WebSettings['listen']): Promise<string> {
  const place = listen.kind === 'unix' ? listen.path : `${listen.host}:${listen.port}`;
  try {
    if (listen.kind === 'tcp') return await app.listen({ host: listen.host, port: listen.port });
    await removeStale(listen.path);
    await app.listen({ path: listen.path });
    await chmod(listen.path, SOCKET_MODE);
    return `unix:${listen.path}`;
  } catch (error) {
    if (error instanceof WebStartError) throw error;
    const { code = '', message } = error as NodeJS.ErrnoException;
    throw new WebStartError(`the board cannot listen on ${place}: it ${REASONS[code] ?? `failed (${message})`}`);
  }
}

/** A socket that a process which was killed has left behind. One that somebody listens on stays, and so does every other file. */
async function removeStale(path: string): Promise<void> {
  const stat = await lstat(path).catch(() => null);
  if (stat === null) return;
  if (!stat.isSocket())
    throw new WebStartError(`the board cannot listen on ${path}: there is a file, and it is no socket`);
  if (!(await isListening(path))) await unlink(path);
}

function isListening(path: string): Promise<boolean> {
  return new Promise((resolve) => {
    const socket = connect({ path }, () => {
      socket.destroy();
      resolve(true);
    });
    socket.on('error', () => resolve(false));
  });
}
