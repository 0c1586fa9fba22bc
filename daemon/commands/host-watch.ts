import type { Logger } from 'pino';
import { HealthPage } from '../../adapters/host/health-page.js';
import { LoopDelay } from '../../adapters/host/loop-delay.js';
import { openServiceManager, type ServiceManager } from '../../adapters/host/service-manager.js';
import type { LogHealth } from './health.js';
import { readHealth } from './health.js';
import type { Live } from './live.js';
import { isMoving } from './moving.js';

/** Those who watch the program from the same machine: the service manager with its watchdog, and the health page. */
export class HostWatch {
  readonly #live: Live;
  readonly #manager: ServiceManager;
  #page: HealthPage | null = null;
  #loop: LoopDelay | null = null;

  private constructor(live: Live, manager: ServiceManager) {
    this.#live = live;
    this.#manager = manager;
  }

  /** The program is ready. Never rejects. */
  static async open(live: Live, log: Logger, counters: LogHealth): Promise<HostWatch> {
    const say = (level: 'info' | 'warn', line: string): void => log[level](line);
    const watch = new HostWatch(live, await openServiceManager({ isMoving: () => isMoving(live), log: say }));
    const { health } = live.session.config;
    if (health !== null) {
      // It wakes the program a hundred times a second: only where somebody reads it.
      const loop = new LoopDelay();
      watch.#loop = loop;
      watch.#page = new HealthPage({ port: health.port, read: () => watch.#read(loop, counters), log: say });
      await watch.#page.start();
    }
    watch.ready();
    return watch;
  }

  /** Started, or reloaded. */
  ready(): void {
    const { truck, hash } = this.#live.session.config;
    this.#manager.ready(`${truck}: listening, config ${hash}`);
  }

  reloading(): void {
    this.#manager.reloading();
  }

  stopping(): void {
    this.#manager.stopping();
  }

  async close(): Promise<void> {
    this.#loop?.close();
    await this.#page?.close();
  }

  #read(loop: LoopDelay, log: LogHealth) {
    const { session, publisher, recorder, buses, clock, sync, busTime, store, answers } = this.#live;
    return readHealth({
      config: () => session.config,
      clock,
      sync,
      busTime,
      life: () => session.pipeline.state.life.state,
      counters: () => session.pipeline.state.counters,
      sinceTickMs: () => this.#live.sinceTickMs,
      buses: () =>
        buses.map((bus, index) => ({
          ...bus.health(),
          transfers: { ...session.pipeline.state.transports[index]!.counters },
        })),
      decisionsUnknown: () => answers.unknown,
      store,
      isDegraded: () => this.#live.degraded.includes('store'),
      droppedRows: () => session.droppedRows,
      broker: () => publisher?.health() ?? null,
      recorder: () => recorder?.health() ?? null,
      loop,
      log,
    });
  }
}
