import type { RuleName, TruckConfig } from '../../config/resolved.js';
import type { Judgement } from '../alerts/judgement.js';
import type { PipelineState } from '../pipeline-state.js';
import type { StreamMs } from '../time.js';
import { BusOff } from './bus-off.js';
import { BusSilent } from './bus-silent.js';
import type { TickFacts, Workbench } from './monitor.js';
import { SourceSilent } from './source-silent.js';

/** The monitors of the bus rules: who speaks, and who has ceased to. */
export class BusMonitors {
  readonly sources: SourceSilent | undefined;
  readonly #silent: BusSilent | undefined;
  readonly #off: BusOff | undefined;
  readonly #life: PipelineState['life'];

  constructor(bench: Workbench, config: TruckConfig, state: PipelineState) {
    const { life } = state;
    this.#life = life;
    const buses = config.buses.map((bus) => bus.name);
    const ruled = <T>(rule: RuleName, make: (j: Judgement) => T): T | undefined => {
      const j = bench.judgement(rule);
      return j === undefined ? undefined : make(j);
    };
    const heardAt = (bus: number): StreamMs => life.busFrameAt[bus]!;
    this.#silent = ruled('bus-silent', (j) => new BusSilent(j, buses, (bus, t) => (t - heardAt(bus)) / 1000));
    this.#off = ruled('bus-off', (j) => new BusOff(j, buses, state.busErrors, heardAt));
    this.sources = ruled('source-silent', (j) => new SourceSilent(j, config, state.sources, state.counters));
  }

  /** A frame of interest. */
  frame(t: StreamMs, bus: number, id: number): void {
    this.sources?.frame(t, bus, id);
  }

  errorFrame(t: StreamMs, bus: number, id: number): void {
    this.#off?.errorFrame(t, bus, id);
  }

  tick(facts: TickFacts, isBlind: boolean): void {
    this.#silent?.tick(facts.t, isBlind);
    this.#off?.tick(facts.t);
    this.sources?.tick(facts, this.#life.frameAt);
  }
}
