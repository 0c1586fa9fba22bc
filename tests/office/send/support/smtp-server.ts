import { type AddressInfo, createServer, type Server, type Socket } from 'node:net';
import { createSecureContext, TLSSocket } from 'node:tls';

export interface Received {
  from: string;
  to: string[];
  /** As sent, dots unstuffed, lines with CRLF. */
  data: string;
  isEncrypted: boolean;
  user: string | null;
}

export interface SmtpOptions {
  /** From the first byte, or when asked. */
  tls?: { cert: string; key: string; when: 'at-once' | 'asked' };
  /** user and password that are taken; without, nobody is asked. */
  account?: { user: string; password: string };
  /** In place of what it would answer to a line, as far as it is not undefined; null: nothing at all. */
  instead?: ((line: string) => string | null | undefined) | undefined;
}

/** Enough of RFC 5321 (with STARTTLS, AUTH PLAIN and LOGIN) to receive mail, and to be as bad a server as a test wants. */
export class SmtpServer {
  readonly received: Received[] = [];
  /** Every line that came before the connection was encrypted. */
  readonly inTheOpen: string[] = [];
  readonly commands: string[] = [];
  readonly #server: Server;
  readonly #options: SmtpOptions;
  readonly #sockets = new Set<Socket>();
  #waiting: (() => void)[] = [];

  private constructor(options: SmtpOptions) {
    this.#options = options;
    this.#server = createServer((socket) => this.#accept(socket));
  }

  static async start(options: SmtpOptions = {}): Promise<SmtpServer> {
    const server = new SmtpServer(options);
    await new Promise<void>((resolve) => server.#server.listen(0, '127.0.0.1', resolve));
    return server;
  }

  get port(): number {
    return (this.#server.address() as AddressInfo).port;
  }

  /** Resolves when a command that begins so has come. */
  async heard(start: string): Promise<void> {
    while (!this.commands.some((line) => line.startsWith(start))) {
      await new Promise<void>((resolve) => this.#waiting.push(resolve));
    }
  }

  async close(): Promise<void> {
    for (const socket of this.#sockets) socket.destroy();
    await new Promise((resolve) => this.#server.close(resolve));
  }

  #accept(socket: Socket): void {
    this.#sockets.add(socket);
    socket.on('error', () => {});
    socket.on('close', () => this.#sockets.delete(socket));
    const { tls } = this.#options;
    if (tls?.when === 'at-once') new Session(this.#encrypted(socket), this, this.#options, true);
    else new Session(socket, this, this.#options, false);
  }

  #encrypted(socket: Socket): Socket {
    const { cert, key } = this.#options.tls!;
    const secured = new TLSSocket(socket, { isServer: true, secureContext: createSecureContext({ cert, key }) });
    secured.on('error', () => {});
    return secured;
  }

  /** @internal */
  upgrade(socket: Socket): Socket {
    socket.removeAllListeners('data');
    return this.#encrypted(socket);
  }

  /** @internal */
  note(line: string): void {
    this.commands.push(line);
    for (const resolve of this.#waiting.splice(0)) resolve();
  }
}

class Session {
  readonly #server: SmtpServer;
  readonly #options: SmtpOptions;
  #socket: Socket;
  #isEncrypted: boolean;
  #text = '';
  #mail: { from: string; to: string[] } = { from: '', to: [] };
  #user: string | null = null;
  /** Takes the next line in place of the commands. */
  #next: ((line: string) => void) | null = null;

  constructor(socket: Socket, server: SmtpServer, options: SmtpOptions, isEncrypted: boolean) {
    this.#socket = socket;
    this.#server = server;
    this.#options = options;
    this.#isEncrypted = isEncrypted;
    this.#listen();
    this.#reply('', '220 mail.example ready');
  }

  #listen(): void {
    this.#socket.on('data', (chunk: Buffer) => {
      this.#text += chunk.toString('utf8');
      for (let end = this.#text.indexOf('\r\n'); end >= 0; end = this.#text.indexOf('\r\n')) {
        const line = this.#text.slice(0, end);
        this.#text = this.#text.slice(end + 2);
        if (!this.#isEncrypted) this.#server.inTheOpen.push(line);
        if (this.#next === null) this.#command(line);
        else this.#next(line);
      }
    });
  }

  #reply(line: string, text: string): void {
    const instead = this.#options.instead?.(line);
    if (instead !== null) this.#socket.write(`${instead ?? text}\r\n`);
  }

  #command(line: string): void {
    this.#server.note(line);
    const [, verb = '', rest = ''] = /^(\w+) ?(.*)$/.exec(line) ?? [];
    const { account, instead } = this.#options;
    const acts: Record<string, () => void> = {
      EHLO: () => this.#reply(line, this.#greeting()),
      STARTTLS: () => this.#startTls(line),
      AUTH: () => this.#auth(line, rest),
      MAIL: () => {
        this.#mail = { from: rest, to: [] };
        this.#reply(line, account !== undefined && this.#user === null ? '530 who?' : '250 ok');
      },
      RCPT: () => {
        if (!instead?.(line)?.startsWith('5')) this.#mail.to.push(rest.replace(/^TO:<(.*)>.*$/i, '$1'));
        this.#reply(line, '250 ok');
      },
      DATA: () => this.#data(line),
      QUIT: () => {
        this.#reply(line, '221 bye');
        this.#socket.end();
      },
    };
    (acts[verb.toUpperCase()] ?? (() => this.#reply(line, '502 not here')))();
  }

  #greeting(): string {
    const { tls, account } = this.#options;
    const more = [
      ...(tls?.when === 'asked' && !this.#isEncrypted ? ['STARTTLS'] : []),
      ...(account === undefined ? [] : ['AUTH PLAIN LOGIN']),
    ];
    return ['250-mail.example', ...more.map((word) => `250-${word}`), '250 SIZE 1000000'].join('\r\n');
  }

  #startTls(line: string): void {
    if (this.#options.tls?.when !== 'asked') {
      this.#reply(line, '502 not here');
      return;
    }
    this.#reply(line, '220 go on');
    this.#socket = this.#server.upgrade(this.#socket);
    this.#isEncrypted = true;
    this.#listen();
  }

  #auth(line: string, rest: string): void {
    const [, given = ''] = rest.split(' ');
    const [, user = '', password = ''] = Buffer.from(given, 'base64').toString('utf8').split('\0');
    const { account } = this.#options;
    const isRight = user === account?.user && password === account?.password;
    if (isRight) this.#user = user;
    this.#reply(line, isRight ? '235 welcome' : '535 no');
  }

  #data(line: string): void {
    this.#reply(line, '354 go on');
    const lines: string[] = [];
    this.#next = (dataLine) => {
      if (dataLine !== '.') {
        lines.push(dataLine.replace(/^\./, ''));
        return;
      }
      this.#next = null;
      const { from, to } = this.#mail;
      const isKept = !/^[45]/.test(this.#options.instead?.('.') ?? '');
      if (isKept) {
        const data = `${lines.join('\r\n')}\r\n`;
        const sender = from.replace(/^FROM:<(.*?)>.*$/i, '$1');
        this.#server.received.push({ from: sender, to, data, isEncrypted: this.#isEncrypted, user: this.#user });
      }
      this.#reply('.', '250 kept');
    };
  }
}
