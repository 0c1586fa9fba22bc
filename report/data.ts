import type { RuleName, TruckConfig, Urgency } from '../config/resolved.js';
import type { Change } from '../daemon/alerts/event.js';

/**
 * A report as the page gets it: JSON inside the one file. Everything is worked out; the page only draws it. Values are SI, and
 * the page shows them in `about.show`. Instants (`…S`) are seconds since `fromMs`, to a tenth.
 */
export interface ReportData {
  v: 1;
  /** Wall clock, ms. */
  fromMs: number;
  /** Length, s. */
  lengthS: number;
  about: About;
  glance: Glance;
  /** In the order of time; consequences stand behind what explains them. */
  alerts: AlertStory[];
  /** Alerts that are in `glance` and not told in full, because there are too many. */
  alertsLeftOut: number;
  /** null: nothing was heard of it. */
  tires: TireSection | null;
  brakes: BrakeSection | null;
  air: AirSection | null;
  trips: TripLine[];
  gaps: { fromS: number; toS: number; what: string }[];
  muted: {
    fromS: number;
    toS: number;
    rule: RuleName;
    subject: string;
    place: string;
    urgency: Urgency;
    why: string;
  }[];
  notJudged: { subject: string; place: string; who: string; untilMs: number }[];
  /** Whole sentences about the data themselves. */
  notes: string[];
}

/** A sentence; an instant in it is shown by the page in the reader's choice of clock. Values are in `about.show` already. */
export type Words = (string | { atS: number })[];

export interface About {
  fleet: string;
  truck: string;
  trailer: string | null;
  /** Logs by their file names, or the database. */
  sources: string[];
  frames: { all: number; interesting: number } | null;
  /** Version of the program that made the report. */
  version: string;
  /** Hashes of the configurations that decided, in the order of time. */
  configs: string[];
  /** Is the wall clock of everything known to be right? */
  synced: boolean;
  show: Pick<TruckConfig['show'], 'pressure' | 'temperature'>;
  /** true: readings one by one; false: only minutes were kept, and delays and steps within a minute are not seen. */
  fine: boolean;
}

export interface Glance {
  speed: Line | null;
  trips: { fromS: number; toS: number; label: string }[];
  /** In the order of `ReportData.alerts`, also those that are left out there; toS null: still open at the end. */
  alerts: {
    id: string;
    rule: RuleName;
    place: string;
    fromS: number;
    toS: number | null;
    steps: { s: number; urgency: Urgency }[];
  }[];
  /** Asleep, parked, blind; what is not listed is awake. */
  life: { fromS: number; toS: number; state: 'parked' | 'asleep' | 'blind' }[];
}

export interface AlertStory {
  id: string;
  /** Alert that explains it; null: it stands for itself. */
  cause: string | null;
  rule: RuleName;
  subject: string;
  place: string;
  /** What the rule says of its subject, e.g. "losing air". */
  what: string;
  kind: 'equipment' | 'system';
  worst: Urgency;
  fromS: number;
  /** null: open at the end. */
  toS: number | null;
  /** How it ended: cleared (measured good), closed with a reason, or still open. */
  end: string;
  changes: { s: number; change: Change; urgency: Urgency; words: string; who: string | null; note: string | null }[];
  /** What the program saw, a sentence each. */
  saw: Words[];
  /** What judged it: the rule's levels with their source; `held` are those that held at some time. */
  judged: Judged[];
  plots: Plot[];
  /** What speaks for a bad sensor, for a real fault, or for neither, out of these data. */
  hints: Hint[];
  /** What to do now, as the event said it at its worst. */
  advice: string;
  /** By hand, in this order. */
  checks: Check[];
  /** How to tell a bad sensor from a bad wheel, in general. */
  sensorOrReal: string[];
}

export interface Judged {
  /** Name of the criterion; the three urgencies are the ordinary levels. */
  name: string;
  urgency: Urgency;
  /** e.g. "at or below 80 % of target", "2 of the last 3 applications"; with the delay. */
  raise: string;
  clear: string;
  basis: string;
  held: boolean;
}

export interface Hint {
  points: 'sensor' | 'real' | 'unclear';
  words: Words;
}

export interface Check {
  do: string;
  /** Tool, e.g. "tire gauge"; null: eyes and hands. */
  tool: string | null;
}

/** SI units of axes. `share` is 0 … 1 and shown in %. `state` are codes of a brake. */
export type AxisUnit = 'kPa' | '°C' | 'mm' | 'km/h' | 'rpm' | 'share' | 'state';

export interface Plot {
  title: string;
  fromS: number;
  toS: number;
  /** The first at the left; a second one at the right. */
  axes: { unit: AxisUnit; label: string }[];
  lines: Line[];
  limits: PlotLimit[];
  spans: PlotSpan[];
  marks: PlotMark[];
}

export interface Line {
  label: string;
  /** What is judged, the same as it was sent, its peers, what else matters. */
  role: 'judged' | 'raw' | 'mate' | 'context';
  axis: 0 | 1;
  s: number[];
  v: number[];
  /** Least and greatest value of the span that each point stands for, where it stands for more than one reading. */
  low?: number[];
  high?: number[];
  /** Points further apart than this are not joined: nothing was heard in between. */
  gapS: number;
  /** Indexes of points that are not joined with the one before, though they are nearer: a short gap in a thinned line. */
  breaks?: number[];
}

/** Drawn across the whole plot, or over a part of it. */
export interface PlotLimit {
  label: string;
  kind: 'raise' | 'clear' | 'target' | 'other';
  urgency: Urgency | null;
  axis: 0 | 1;
  value: number;
  fromS?: number;
  toS?: number;
}

export interface PlotSpan {
  kind: 'raising' | 'clearing' | 'open' | 'unsure' | 'muted' | 'gap' | 'application' | 'pumping' | 'leak-test';
  fromS: number;
  toS: number;
  label: string;
}

/** An instant at which something changed. */
export interface PlotMark {
  s: number;
  change: Change;
  urgency: Urgency;
  label: string;
}

export interface TireSection {
  /** One for each axle: every tire of it over the whole time, and its target. */
  axles: { place: string; pressures: Plot; temperatures: Plot | null }[];
  table: {
    subject: string;
    place: string;
    targetKpa: number | null;
    /** Cold-equivalent pressure, at first and at last; kPa. */
    firstKpa: number | null;
    lastKpa: number | null;
    hottestC: number | null;
    readings: number;
    /** Moving time without a good reading, s. */
    silentS: number;
  }[];
}

export interface BrakeSection {
  /** Columns of one length, one row per application, in the order of time. */
  applications: {
    s: number[];
    durationS: number[];
    peakKpa: (number | null)[];
    meanKpa: (number | null)[];
    startKmh: (number | null)[];
    endKmh: (number | null)[];
    airUsedKpa: (number | null)[];
    /** 1: hard or long enough to judge brakes by. */
    qualifying: (0 | 1)[];
    from: ('pressure' | 'pedal' | 'switch')[];
  };
  /** In layout order. Columns go with `applications`; null: it told nothing then. */
  wheels: {
    subject: string;
    place: string;
    chamber: string | null;
    /** Stroke must not be greater, mm; null: chamber not known. */
    limitMm: number | null;
    limitBasis: string | null;
    strokeMm: (number | null)[];
    /** 0 ok, 1 non-functioning, 2 over-stroke, 3 dragging. */
    code: (number | null)[];
    /** Alerts of this wheel end. */
    alerts: string[];
  }[];
  /** Where measured stroke is judged, kPa. */
  band: { lowKpa: number; highKpa: number } | null;
  /** From this peak on an application qualifies, kPa. */
  qualifyingKpa: number | null;
  /** Of more than these, the harder ones were kept. */
  leftOut: number;
}

export interface AirSection {
  /** Circuits and supply over the whole time, with limits, cycles and tests. */
  plot: Plot;
  cycles: {
    s: number;
    pumpingS: number;
    cutInKpa: number | null;
    cutOutKpa: number | null;
    revolutionsPer100Kpa: number | null;
  }[];
  /** plot: the piece itself with the slope that was found and the one that is allowed; null: only minutes were kept. */
  tests: {
    s: number;
    seconds: number;
    state: 'released' | 'applied';
    circuit: string;
    fallKpa: number;
    kpaPerMin: number;
    limitKpaPerMin: number;
    passed: boolean;
    plot: Plot | null;
  }[];
  /** Tests, of which the worst were kept, and cycles, of which the longest were. */
  leftOut: number;
  cyclesLeftOut: number;
  /** Share of engine-running time spent pumping, over the whole time. */
  compressorShare: number | null;
}

export interface TripLine {
  trip: number;
  fromS: number;
  toS: number;
  provisional: boolean;
  distanceKm: number | null;
  movingS: number | null;
  applications: number | null;
  hardestKpa: number | null;
  hottest: { place: string; celsius: number } | null;
  lowestAirKpa: number | null;
  compressorShare: number | null;
  alerts: number;
  gapS: number;
}
