import type { RuleName, TruckConfig } from '../config/resolved.js';
import { Book, type Surroundings } from './alerts/book.js';
import type { CloseReason, EventDraft } from './alerts/event.js';
import { stop } from './alerts/evidence.js';
import { Judgement, levelOf } from './alerts/judgement.js';
import { RULES } from './alerts/rules.js';
import type { LifeState, TickEffects } from './effects.js';
import type { FrameSink } from './input.js';
import { Intake } from './intake.js';
import { Monitors } from './monitors/monitors.js';
import { newPipelineState, type PipelineState } from './pipeline-state.js';
import { adopt, type Plain, revive, snapshot } from './state.js';
import { NEVER, type StreamMs, type WallMs } from './time.js';
import { Context } from './truck/context.js';
import { buildLayout, type Layout } from './truck/layout.js';
import { Life } from './truck/life.js';
import { Reports } from './truck/reports.js';
import { Trips } from './truck/trips.js';

/** How a saved state is taken up. */
export type Resume =
  /** The same run goes on at t: nothing has happened in between. */
  | { kind: 'same-run'; state: Plain; t: StreamMs }
  /** A new run at stream time 0. downMs: how long nobody listened, null when no clock can tell. */
  | { kind: 'restart'; state: Plain; downMs: number | null };

/**
 * Frames in, effects out: the whole of what Axlepost decides. Pure: same start state, same inputs, same configuration
 * give the same effects, live or replayed. Frames only update monitors; everything is decided in ticks.
 */
export class Pipeline implements FrameSink {
  readonly state: PipelineState;
  readonly layout: Layout;
  /** Not 0 at `(id >>> 8) & 0x3ffff`: of interest. */
  readonly interest: Uint8Array;
  readonly #config: TruckConfig;
  readonly #context: Context;
  readonly #intake: Intake;
  readonly #monitors: Monitors;
  readonly #book: Book;
  readonly #life: Life;
  readonly #trips: Trips;
  readonly #reports: Reports;
  readonly #zeroCalendarMs: WallMs | null;
  /** What a restart leaves to say at the first tick. */
  #first: Partial<TickEffects> = {};

  /** @param zeroCalendarMs wall time of stream time 0 where the clock of this run is known to be right, else null */
  constructor(config: TruckConfig, resume: Resume | null = null, zeroCalendarMs: WallMs | null = null) {
    this.#config = config;
    this.#zeroCalendarMs = zeroCalendarMs;
    this.state = newPipelineState(config.buses.length);
    if (resume !== null)
      adopt(this.state, revive(resume.state, resume.kind === 'same-run' ? resume.t : -(resume.downMs ?? 0)));
    this.layout = buildLayout(config);
    this.#context = new Context(this.state.context);
    const judgements = this.#judgements();
    this.#monitors = new Monitors(config, this.layout, this.#context, this.state, judgements);
    this.#intake = new Intake(config, this.state, this.#context, {
      ...this.#monitors.sinks,
      speed: (t, kmh) => this.#life.speed(t, kmh),
    });
    this.interest = this.#intake.interest;
    this.#book = new Book(judgements, this.state.book, this.#monitors.areaOf);
    this.#life = new Life(this.state.life);
    this.#trips = new Trips(this.state.trips);
    this.#reports = new Reports(this.state.reports);
    if (resume?.kind === 'restart') this.#restart(resume.downMs);
  }

  frame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void {
    this.state.counters.frames++;
    this.#life.frame(t, bus);
    this.#intake.frame(t, bus, id, data, length);
  }

  errorFrame(_t: StreamMs, _bus: number, _id: number, _data: Uint8Array, _length: number): void {
    this.state.counters.errorFrames++;
  }

  get life(): LifeState {
    return this.state.life.state;
  }

  get isAsleep(): boolean {
    return this.#life.isAsleep && !this.state.life.wakened;
  }

  /** Decides what holds at t, a whole second. null: nothing to do. */
  tick(t: StreamMs): TickEffects | null {
    if (this.isAsleep) return null;
    const change = this.#life.tick(t);
    const around = this.#surroundings(t);
    if (around.moving) this.state.context.movedAt = t;
    this.#intake.tick(t);
    const tripBegan = this.#tickTrip(t, around);
    if (tripBegan) this.#monitors.wake(t, this.#stoodMs(t));
    const calendarMs = this.#zeroCalendarMs === null ? null : this.#zeroCalendarMs + t;
    this.#monitors.tick({ t, moving: around.moving, engineRunning: around.engineRunning }, around.blind, calendarMs);
    const events = this.#book.tick(t, around);
    this.#monitors.forgetCodes(t, around, (key) => this.state.book.alerts[key] !== undefined);
    return this.#effects(t, events, change.state, change.wentQuiet, around);
  }

  /** The stamps of the recording jumped back: what was learned stays, freshness and evidence stop as if asleep. */
  seam(t: StreamMs): void {
    this.state.counters.seams++;
    this.#quiesce(t);
  }

  /** The state as plain data, taken between any two inputs. */
  snapshot(t: StreamMs): Plain {
    return snapshot(this.state, t);
  }

  /** The next tick closes the open alerts for which `why` gives a reason. */
  close(why: (rule: RuleName, subject: string) => CloseReason | null): void {
    this.#book.close((a) => why(a.rule, a.subject));
  }

  #judgements(): Judgement[] {
    const states = this.state.judgements;
    return RULES.filter((rule) => this.#config.rules[rule.name].enabled).map((rule) => {
      states[rule.name] ??= {};
      return new Judgement(rule, this.#config.rules[rule.name], states[rule.name]!);
    });
  }

  #surroundings(t: StreamMs): Surroundings {
    return {
      moving: this.#context.moving(t) === true,
      engineRunning: this.#context.engineRunning(t) === true,
      cranking: this.#context.cranking(t),
      blind: this.state.life.state === 'blind',
      trailer: this.#trailer(),
      vehicle: () => this.#vehicle(t),
    };
  }

  #trailer(): string | null {
    return this.#config.units.find((unit) => unit.unit === 'trailer')?.id ?? null;
  }

  #vehicle(t: StreamMs): EventDraft['vehicle'] {
    const v = this.#context.vehicle(t);
    const { position } = this.#config.show;
    if (position === 'none') return { ...v, lat: null, lon: null, ageS: null };
    // Two decimals of a degree are about a kilometre.
    const places = position === 'rounded' ? 100 : 1e5;
    const rounded = (x: number | null): number | null => (x === null ? null : Math.round(x * places) / places);
    return { ...v, lat: rounded(v.lat), lon: rounded(v.lon) };
  }

  #tickTrip(t: StreamMs, around: Surroundings): boolean {
    const underWay = around.engineRunning || around.moving;
    const odometer = this.state.context.odometer;
    const metres = odometer.at > NEVER ? odometer.value : Number.NaN;
    return this.#trips.tick(t, underWay, this.state.life.quiet, metres, this.#book.raised);
  }

  /** How long the truck stood before this trip; 0 when nobody knows. */
  #stoodMs(t: StreamMs): number {
    const { parkedAt } = this.state.life;
    return parkedAt === NEVER ? 0 : t - parkedAt;
  }

  #effects(
    t: StreamMs,
    events: EventDraft[],
    entered: LifeState | null,
    wentQuiet: boolean,
    around: Surroundings,
  ): TickEffects | null {
    for (const e of events) {
      if (e.change === 'raised' || e.change === 'worse' || e.change === 'reopened')
        this.#reports.alert(t, levelOf(e.urgency));
    }
    const minutes = this.#monitors.minutes;
    const history = minutes.isDue(t) || wentQuiet ? minutes.take(t) : [];
    const ended = entered === 'parked' || entered === 'asleep';
    const trip = ended || wentQuiet ? this.#trips.record(t, !ended, this.#book.raised) : null;
    const due = this.#reports.isDue(t, this.state.life.state, entered, () => this.#monitors.quality(t));
    const listChanged = this.#book.mutedChanged() || events.length > 0;
    const first = this.#first;
    this.#first = {};
    const nothing = !listChanged && history.length === 0 && trip === null && !due && entered === null && !wentQuiet;
    if (nothing && first.trip === undefined) return null;
    return {
      t,
      events,
      history,
      open: listChanged ? this.#book.openDraft(t, around.trailer) : null,
      reading: due ? { t, r: this.#monitors.report(t) } : null,
      trip: trip ?? first.trip ?? null,
      life: entered,
      flush: wentQuiet,
    };
  }

  #restart(downMs: number | null): void {
    const { life, trips } = this.state;
    const lastAt = life.frameAt;
    if (life.state === 'awake' || life.state === 'blind') life.parkedAt = lastAt;
    if (downMs === null) life.parkedAt = NEVER;
    life.state = 'awake';
    life.quiet = false;
    life.frameAt = 0;
    life.busFrameAt = this.#config.buses.map(() => 0);
    if (trips.open) this.#first = { trip: this.#trips.record(lastAt, false, this.#book.raised) };
    this.state.minutes.startedAt = 0;
    this.#quiesce(0);
    this.#book.restart(0);
  }

  /** Nothing that was heard before t is fresh any more; evidence stops. */
  #quiesce(t: StreamMs): void {
    for (const bySubject of Object.values(this.state.judgements)) {
      for (const subject of Object.values(bySubject)) for (const e of Object.values(subject.limits)) stop(e, t);
    }
    for (const transport of Object.values(this.state.transports)) transport.sessions = [];
    this.#monitors.quiesce();
  }
}
