import { setTimeout as sleep } from 'node:timers/promises';
import { pino } from 'pino';
import type { InterfaceMode } from '../../../adapters/can/interface-mode.js';
import type { OnFrame } from '../../../adapters/can/socketcan.js';
import type { TruckConfig } from '../../../config/resolved.js';
import { awaitedBy } from '../../../daemon/alerts/relations.js';
import type { RunEdges } from '../../../daemon/commands/live-bus.js';
import { type Daemon, startDaemon } from '../../../daemon/commands/run.js';
import { cleanup } from '../../adapters/mqtt/harness.js';
import { LAYOUT, truckOf } from '../../support/truck-file.js';

export const LISTEN_ONLY: InterfaceMode = { kind: 'listen-only', up: true };
const EEC1 = 0x0cf00400;
const DM1 = 0x18feca00;
const RUNNING = Buffer.from('F07D7D401F00FFFF', 'hex');

/** DM1 of one active code: lamps 0x10 is the red stop lamp alone. */
const dm1 = (lamps: number, spn: number): Buffer => Buffer.from([lamps, 0xff, spn & 0xff, spn >> 8, 1, 1, 0xff, 0xff]);

/** A bus in this process: repeats, as a truck does, what it is told to. */
export class FakeBus {
  mode: InterfaceMode | Error = LISTEN_ONLY;
  /** Each opening of the interface; the newest is the one that is fed. */
  opened = 0;
  closed = 0;
  asked = 0;
  /** What the socket says that it handed over. */
  received = 0;
  lamp = false;
  /** Codes by source address, besides that of the lamp. */
  readonly codes = new Map<number, number>();
  /** Other frames, by identifier. */
  readonly frames = new Map<number, Buffer>();
  engine = true;
  #onFrame: OnFrame | null = null;
  #onStopped: (() => void) | null = null;
  readonly #timer: NodeJS.Timeout;

  constructor(everyMs = 50) {
    this.#timer = setInterval(() => this.say(), everyMs);
    cleanup(async () => clearInterval(this.#timer));
  }

  say(): void {
    if (this.#onFrame === null) return;
    if (this.engine) this.#onFrame(EEC1, RUNNING, false);
    this.#onFrame?.(DM1, dm1(this.lamp ? 0x10 : 0, this.lamp ? 100 : 0), false);
    for (const [id, data] of this.frames) this.#onFrame(id, data, false);
    for (const [source, spn] of this.codes) this.#onFrame?.(DM1 | source, dm1(0, spn), false);
  }

  /** An error frame: by default of one bus error. */
  error(id = 0x88, data = new Uint8Array(8)): void {
    this.#onFrame?.(id, data, true);
  }

  /** As when the interface is taken down. */
  fail(): void {
    this.#onFrame = null;
    this.#onStopped?.();
  }

  readonly modeOf = async (): Promise<InterfaceMode> => {
    this.asked++;
    if (this.mode instanceof Error) throw this.mode;
    return this.mode;
  };

  readonly openBus: RunEdges['openBus'] = async (_name, _filters, onFrame, onStopped) => {
    this.opened++;
    this.#onFrame = onFrame;
    this.#onStopped = onStopped;
    const bus = this;
    return {
      get received() {
        return bus.received;
      },
      close: () => {
        this.closed++;
        this.#onFrame = null;
      },
    };
  };
}

/** Rules that fault codes and the lamp would wait for after a start, up to 20 s. */
const AWAITED = awaitedBy('fault-code');

/** A truck file whose lamp is judged after a second, and its codes at once. */
export function truckText(url: string | null, store: string, more = ''): string {
  const mqtt = url === null ? '' : `mqtt: {url: "${url}", confirm: broker}\n`;
  return `${LAYOUT.replace('interface: can0}', `interface: can0${more}}`)}${mqtt}store: {path: "${store}"}
rules:
  stop-lamp: {levels: {pull-over: {raiseAfter: 1 s, clearAfter: 1 s}}, constants: {engineS: 1 s}}
${AWAITED.map((rule) => `  ${rule}: {enabled: no}\n`).join('')}`;
}

export const truck = (...args: Parameters<typeof truckText>): TruckConfig => truckOf(truckText(...args));

export interface Live {
  daemon: Daemon;
  /** Log lines as objects, newest last. */
  log: { level: number; msg: string; [key: string]: unknown }[];
}

/** A daemon that is stopped with the test. */
export async function live(config: TruckConfig, bus: FakeBus): Promise<Live> {
  const log: Live['log'] = [];
  const logger = pino({ base: null }, { write: (line: string) => void log.push(JSON.parse(line)) });
  const daemon = await startDaemon(config, { openBus: bus.openBus, modeOf: bus.modeOf, log: logger });
  cleanup(() => daemon.stop());
  return { daemon, log };
}

/** For what must not happen: real time that a repeated announcement would have had. */
export const quietSeconds = (s: number): Promise<void> => sleep(1000 * s);
