import type { RuleName, TruckConfig } from '../config/resolved.js';
import { Book } from './alerts/book.js';
import type { Surroundings } from './alerts/book-state.js';
import { nextSnoozeEnd } from './alerts/decisions.js';
import type { CloseReason, EventDraft } from './alerts/event.js';
import { forget, stop } from './alerts/evidence.js';
import { levelOf, UNTIL_NEXT_MS } from './alerts/judgement.js';
import { judgementsOf } from './alerts/judgements.js';
import type { LifeState, TickEffects, TripRecord } from './effects.js';
import type { Answer, FrameSink } from './input.js';
import { Intake } from './intake.js';
import { Marks } from './monitors/marks.js';
import { Monitors } from './monitors/monitors.js';
import { evidenceOf, newPipelineState, type PipelineState } from './pipeline-state.js';
import { adopt, type Plain, revive, snapshot } from './state.js';
import { endMarks, forgetUnits, takeUp } from './take-up.js';
import { NEVER, type StreamMs, TICK_MS, type WallMs } from './time.js';
import { Context } from './truck/context.js';
import { buildLayout, type Layout } from './truck/layout.js';
import { Life } from './truck/life.js';
import { Records } from './truck/records.js';
import { Reports } from './truck/reports.js';
import { Trips } from './truck/trips.js';
import { vehicleAt } from './truck/vehicle.js';

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
  #marks!: Marks;
  #intake!: Intake;
  #monitors!: Monitors;
  #book!: Book;
  #life!: Life;
  #records!: Records;
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
    const busesChanged = this.#applyConfig();
    this.#build();
    this.interest = this.#intake.interest;
    if (resume?.kind === 'restart') this.#restart(resumedAt, resume.downMs !== null);
    // Numbers of buses stand in all sources: what was heard has to be heard anew.
    else if (busesChanged) this.#quiesce(resumedAt);
    if (zeroCalendarMs !== null) this.clock(Math.max(0, resumedAt), zeroCalendarMs);
  }

  frame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number): void {
    this.state.counters.frames++;
    this.#life.frame(t, bus);
    this.#monitors.heard(t, bus, id);
    this.#intake.frame(t, bus, id, data, length);
  }

  errorFrame(t: StreamMs, bus: number, id: number, _data: Uint8Array, _length: number): void {
    this.state.counters.errorFrames++;
    this.#monitors.errorFrame(t, bus, id);
  }

  /**
   * What the office wants from now on. Decisions that are newer than the last one are applied at the next tick, also while
   * asleep; each uses up its number and gives one event, or is counted where it cannot be applied any more. Another trailer
   * closes the alerts of the one before, and what was learned of its wheels is forgotten.
   */
  answer(_t: StreamMs, answer: Answer): void {
    const { office } = this.state;
    const inOrder = [...answer.decisions].sort((a, b) => a.rev - b.rev);
    office.decisions = inOrder.filter((d, i) => d.rev > Math.max(office.rev, inOrder[i - 1]?.rev ?? office.rev));
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
    this.#monitors.clock(t, zeroCalendarMs);
  }

  /** Wall time of stream time 0; null: not known. */
  get zeroCalendarMs(): WallMs | null {
    const { at, wallMs } = this.state.calendar;
    return at === NEVER ? null : wallMs - at;
  }

  /** The trip as far as it has got; null: there is none. */
  tripSoFar(t: StreamMs): TripRecord | null {
    return this.#trips.record(t, true, this.#book.raised);
  }

  get isAsleep(): boolean {
    return this.#life.isAsleep && !this.state.life.wakened && !this.state.due;
  }

  /** The next instant at which something has to be told also while asleep; Infinity: none. */
  get wakesAt(): StreamMs {
    return nextSnoozeEnd(Object.values(this.state.book.alerts));
  }

  /** Decides what holds at t, a whole second. null: nothing to do. */
  tick(t: StreamMs): TickEffects | null {
    if (this.isAsleep && t < this.wakesAt) return null;
    const change = this.#life.tick(t);
    const around = this.#surroundings(t);
    this.#endMarks(t, around);
    if (around.moving) this.state.context.movedAt = t;
    this.#intake.tick(t);
    const tripBegan = this.#trips.tick(t, around, this.state.life.quiet, this.#book.raised);
    if (tripBegan) this.#monitors.wake(t, this.#trips.stoodMs(t));
    if (change.state === 'awake') this.#monitors.minutes.begin(t - TICK_MS);
    const zeroMs = this.zeroCalendarMs;
    this.#monitors.tick(
      { t, moving: around.moving, engineRunning: around.engineRunning },
      around.blind,
      zeroMs === null ? null : zeroMs + t,
    );
    this.#forgetGone();
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
    this.#marks = new Marks(this.layout, state.marks);
    const judgements = judgementsOf(this.#config.rules, state.judgements, (r, s) => this.#marks.judges(r, s));
    this.#records = new Records(state.records, state.counters);
    const shared = [judgements, this.#marks, this.#records] as const;
    this.#monitors = new Monitors(this.#config, this.layout, this.#context, state, ...shared);
    this.#intake = new Intake(this.#config, state, this.#context, {
      ...this.#monitors.sinks,
      speed: (t, kmh) => this.#life.speed(t, kmh),
    });
    this.#book = new Book(judgements, state.book, this.#monitors.areaOf);
    this.#life = new Life(state.life);
    this.#trips = new Trips(state.trips, this.#monitors.sight);
    this.#reports = new Reports(state.reports);
  }

  /** Marked sensors that do something else by now are judged again, from nothing. */
  #endMarks(t: StreamMs, { moving, engineRunning }: Surroundings): void {
    const over = this.#marks.tick({ t, moving, engineRunning });
    if (over.length === 0) return;
    endMarks(this.state, this.layout, over);
    this.#build();
  }

  /** Towed units that are not there any more. */
  #forgetGone(): void {
    const gone = this.#monitors.takeGone();
    if (gone.length === 0) return;
    forgetUnits(this.state, gone);
    this.#build();
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

  #surroundings(t: StreamMs): Surroundings {
    return {
      moving: this.#context.moving(t) === true,
      engineRunning: this.#context.engineRunning(t) === true,
      cranking: this.#context.cranking(t),
      blind: this.state.life.state === 'blind',
      standing: this.#life.isStanding || this.#context.moving(t) === false,
      tripBegan: false,
      trailer: this.#trailer(),
      vehicle: () => vehicleAt(this.#context, t, this.#config.show.position),
    };
  }

  #trailer(): string | null {
    return this.state.office.trailer ?? this.#config.units.find((unit) => unit.unit === 'trailer')?.id ?? null;
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
    this.#trips.note(events);
    const minutes = this.#monitors.minutes;
    const history = minutes.isDue(t) || wentQuiet ? minutes.take(t) : [];
    const ended = entered === 'parked' || entered === 'asleep';
    const trip = this.#trips.told(t, ended, wentQuiet, this.#book.raised);
    const records = this.#records.take();
    const due = this.#reports.isDue(t, this.state.life.state, entered, () => this.#monitors.quality(t));
    const listChanged = this.#book.mutedChanged() || events.length > 0 || this.state.due;
    this.state.due = false;
    const isIdle = !listChanged && trip === null && !due && entered === null && !wentQuiet;
    if (isIdle && history.length + records.length === 0) return null;
    return {
      t,
      events,
      history,
      records,
      open: listChanged ? this.#book.openDraft(t, around.trailer, this.#marks.inForce) : null,
      reading: due ? { t, r: this.#monitors.report(t) } : null,
      trip,
      life: entered,
      flush: wentQuiet,
    };
  }

  /** Takes up what the configuration, the office and people's marks say now. True: the buses are others. */
  #applyConfig(): boolean {
    return takeUp(this.state, this.#config, this.layout, this.#trailer());
  }

  /** @param stoppedAt when the run before stopped, in the stream time of this one */
  #restart(stoppedAt: StreamMs, isKnown: boolean): void {
    const { life, trips, coldStarts } = this.state;
    coldStarts.waiting = {};
    this.#trips.restart(life.frameAt, this.#book.raised);
    if (!isKnown) {
      trips.endedAt = NEVER;
      life.speedAt = NEVER;
      for (const e of evidenceOf(this.state)) if (e.limitMs < UNTIL_NEXT_MS) forget(e);
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
    for (const e of evidenceOf(this.state)) stop(e, t);
    for (const transport of Object.values(this.state.transports)) transport.sessions = [];
    this.#monitors.quiesce();
  }
}

/** The run before ended at least a moment ago: nothing that it judged is of this run. */
const stoppedAtOf = (downMs: number | null): StreamMs => -Math.max(1, downMs ?? 0);
