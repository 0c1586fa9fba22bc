import type { RuleName, TruckConfig } from '../config/resolved.js';
import { Book, type Surroundings } from './alerts/book.js';
import type { CloseReason, EventDraft } from './alerts/event.js';
import { type EvidenceState, forget, stop } from './alerts/evidence.js';
import { Judgement, levelOf, UNTIL_NEXT_MS } from './alerts/judgement.js';
import { RULES } from './alerts/rules.js';
import type { LifeState, TickEffects } from './effects.js';
import type { Answer, FrameSink } from './input.js';
import { Intake } from './intake.js';
import { Monitors } from './monitors/monitors.js';
import { newPipelineState, type PipelineState } from './pipeline-state.js';
import { adopt, type Plain, revive, snapshot } from './state.js';
import { NEVER, type StreamMs, TICK_MS, type WallMs } from './time.js';
import { Context } from './truck/context.js';
import { buildLayout, type Layout } from './truck/layout.js';
import { Life } from './truck/life.js';
import { Reports } from './truck/reports.js';
import { Trips } from './truck/trips.js';
import { changesBetween, forgetChanged, judgedBy } from './what-changed.js';

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
  #context!: Context;
  #intake!: Intake;
  #monitors!: Monitors;
  #book!: Book;
  #life!: Life;
  #trips!: Trips;
  #reports!: Reports;

  /** @param zeroCalendarMs wall time of stream time 0 where the clock of this run is known to be right, else null */
  constructor(config: TruckConfig, resume: Resume | null = null, zeroCalendarMs: WallMs | null = null) {
    this.#config = config;
    this.state = newPipelineState(config.buses.length);
    const resumedAt = resume?.kind === 'same-run' ? resume.t : stoppedAtOf(resume?.downMs ?? null);
    if (resume !== null) adopt(this.state, revive(resume.state, resumedAt));
    this.layout = buildLayout(config);
    if (resume?.kind === 'restart') this.state.calendar.at = NEVER;
    if (zeroCalendarMs !== null) this.clock(0, zeroCalendarMs);
    const busesChanged = this.#applyConfig();
    this.#build();
    this.interest = this.#intake.interest;
    if (resume?.kind === 'restart') this.#restart(resumedAt, resume.downMs !== null);
    // Numbers of buses stand in all sources: what was heard has to be heard anew.
    else if (busesChanged) this.#quiesce(resumedAt);
  }

  frame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void {
    this.state.counters.frames++;
    this.#life.frame(t, bus);
    this.#intake.frame(t, bus, id, data, length);
  }

  errorFrame(_t: StreamMs, _bus: number, _id: number, _data: Uint8Array, _length: number): void {
    this.state.counters.errorFrames++;
  }

  /**
   * What the office wants from now on. Decisions that are newer than the last one are applied at the next tick, also while
   * asleep; each uses up its number and gives one event, or is counted where it cannot be applied any more. Another trailer
   * closes the alerts of the one before, and what was learned of its wheels is forgotten.
   */
  answer(_t: StreamMs, answer: Answer): void {
    const { office } = this.state;
    office.decisions = answer.decisions.filter((d) => d.rev > office.rev).sort((a, b) => a.rev - b.rev);
    if (office.decisions.length > 0) this.state.due = true;
    if (answer.trailer === null || answer.trailer === this.#trailer()) return;
    office.trailer = answer.trailer;
    this.state.due = true;
    this.#applyConfig();
    this.#build();
  }

  /** From now on the calendar is known: wall time of stream time 0. It may be told again, when the clock is set once more. */
  clock(t: StreamMs, zeroCalendarMs: WallMs): void {
    this.state.calendar = { at: t, wallMs: zeroCalendarMs + t };
  }

  /** Wall time of stream time 0; null: not known. */
  get zeroCalendarMs(): WallMs | null {
    const { at, wallMs } = this.state.calendar;
    return at === NEVER ? null : wallMs - at;
  }

  get life(): LifeState {
    return this.state.life.state;
  }

  get isAsleep(): boolean {
    return this.#life.isAsleep && !this.state.life.wakened && !this.state.due;
  }

  /** The next instant at which something has to be told also while asleep; Infinity: none. */
  get wakesAt(): StreamMs {
    return this.#book.snoozeEndsAt;
  }

  /** Decides what holds at t, a whole second. null: nothing to do. */
  tick(t: StreamMs): TickEffects | null {
    if (this.isAsleep && t < this.wakesAt) return null;
    const change = this.#life.tick(t);
    const around = this.#surroundings(t);
    if (around.moving) this.state.context.movedAt = t;
    this.#intake.tick(t);
    const tripBegan = this.#tickTrip(t, around);
    if (tripBegan) this.#monitors.wake(t, this.#trips.stoodMs(t));
    if (change.state === 'awake') this.#monitors.minutes.begin(t - TICK_MS);
    const zeroMs = this.zeroCalendarMs;
    const calendarMs = zeroMs === null ? null : zeroMs + t;
    this.#monitors.tick({ t, moving: around.moving, engineRunning: around.engineRunning }, around.blind, calendarMs);
    const events = this.#decide(t, { ...around, tripBegan });
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

  /** The same pipeline under another configuration from t on: what it changed is closed at the next tick, all else goes on. */
  reload(t: StreamMs, config: TruckConfig): Pipeline {
    return new Pipeline(config, { kind: 'same-run', state: this.snapshot(t), t });
  }

  /** The next tick closes the open alerts for which `why` gives a reason. */
  close(why: (rule: RuleName, subject: string) => CloseReason | null): void {
    this.#book.close((a) => why(a.rule, a.subject));
  }

  /** Everything that works on the state, made anew from it: at the start, and when something in it was forgotten. */
  #build(): void {
    const { state } = this;
    this.#context = new Context(state.context);
    const judgements = this.#judgements();
    this.#monitors = new Monitors(this.#config, this.layout, this.#context, state, judgements);
    this.#intake = new Intake(this.#config, state, this.#context, {
      ...this.#monitors.sinks,
      speed: (t, kmh) => this.#life.speed(t, kmh),
    });
    this.#book = new Book(judgements, state.book, this.#monitors.areaOf);
    this.#life = new Life(state.life);
    this.#trips = new Trips(state.trips);
    this.#reports = new Reports(state.reports);
  }

  #decide(t: StreamMs, around: Surroundings): EventDraft[] {
    const { office, counters } = this.state;
    const { decisions } = office;
    office.decisions = [];
    office.rev = decisions.at(-1)?.rev ?? office.rev;
    const events = this.#book.tick(t, around, decisions);
    counters.decisionsRefused += this.#book.refused;
    return events;
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
      standing: this.#life.isStanding || this.#context.moving(t) === false,
      tripBegan: false,
      trailer: this.#trailer(),
      vehicle: () => this.#vehicle(t),
    };
  }

  #trailer(): string | null {
    return this.state.office.trailer ?? this.#config.units.find((unit) => unit.unit === 'trailer')?.id ?? null;
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
    const trip =
      this.#trips.takeUntold() ?? (ended || wentQuiet ? this.#trips.record(t, !ended, this.#book.raised) : null);
    const due = this.#reports.isDue(t, this.state.life.state, entered, () => this.#monitors.quality(t));
    const listChanged = this.#book.mutedChanged() || events.length > 0 || this.state.due;
    this.state.due = false;
    if (!listChanged && history.length === 0 && trip === null && !due && entered === null && !wentQuiet) return null;
    return {
      t,
      events,
      history,
      open: listChanged ? this.#book.openDraft(t, around.trailer, this.#config.marks) : null,
      reading: due ? { t, r: this.#monitors.report(t) } : null,
      trip,
      life: entered,
      flush: wentQuiet,
    };
  }

  /** Forgets what was learned of things that the truck file has changed, and has their alerts closed. True: buses too. */
  #applyConfig(): boolean {
    const { state } = this;
    const before = state.judgedBy;
    const now = judgedBy(this.#config, this.layout, this.#trailer());
    state.judgedBy = now;
    if (before.buses.length === 0) return false;
    const changeOf = changesBetween(before, now);
    forgetChanged(state, changeOf);
    for (const a of Object.values(state.book.alerts)) a.closing = changeOf(a.rule, a.subject) ?? a.closing;
    if (Object.values(state.book.alerts).some((a) => a.open && a.closing !== '')) state.due = true;
    if (now.buses.join() === before.buses.join()) return false;
    const { transports, claims } = newPipelineState(now.buses.length);
    Object.assign(state, { transports, claims });
    const { life } = state;
    life.busFrameAt = now.buses.map((name) => life.busFrameAt[before.buses.indexOf(name)] ?? life.frameAt);
    return true;
  }

  /** @param stoppedAt when the run before stopped, in the stream time of this one */
  #restart(stoppedAt: StreamMs, isKnown: boolean): void {
    const { life, trips, judgements } = this.state;
    this.#trips.restart(life.frameAt, this.#book.raised);
    if (!isKnown) {
      trips.endedAt = NEVER;
      life.speedAt = NEVER;
      for (const e of evidenceOf(judgements)) if (e.limitMs < UNTIL_NEXT_MS) forget(e);
    }
    life.state = 'awake';
    life.quiet = false;
    life.wakened = false;
    life.frameAt = 0;
    life.busFrameAt = this.#config.buses.map(() => 0);
    this.#monitors.minutes.restart();
    this.#quiesce(stoppedAt);
    this.#book.restart(0, isKnown);
  }

  /** Nothing that was heard before t is fresh any more; evidence stops. */
  #quiesce(t: StreamMs): void {
    for (const e of evidenceOf(this.state.judgements)) stop(e, t);
    for (const transport of Object.values(this.state.transports)) transport.sessions = [];
    this.#monitors.quiesce();
  }
}

function* evidenceOf(judgements: PipelineState['judgements']): Generator<EvidenceState> {
  for (const bySubject of Object.values(judgements)) {
    for (const subject of Object.values(bySubject)) yield* Object.values(subject.limits);
  }
}

/** The run before ended at least a moment ago: nothing that it judged is of this run. */
const stoppedAtOf = (downMs: number | null): StreamMs => -Math.max(1, downMs ?? 0);
