import type { AirSection, PlotSpan } from '../data.js';
import type { Gathered } from '../gathered.js';
import { runningUntil } from './air-facts.js';
import { airLimits, airLines, pumpingSpans, testPlot, testSpans } from './air-plots.js';
import { type AirTest, airCycles, airTests, compressorShare, hasPassed } from './air-records.js';
import { atS, lasting, lengthS, spanOf } from './kit.js';

/** Tests that have a plot of their own, and tests and cycles that are listed. */
export const MOST_PLOTS = 40;
export const MOST_TESTS = 400;
export const MOST_CYCLES = 2_000;
const MOST_GAPS = 200;
/** Points of each line over the whole time. */
const MOST_POINTS = 800;

/** The air system over the whole time; null: nothing was heard of it. */
export function airSection(gathered: Gathered): AirSection | null {
  const whole = spanOf(gathered);
  const lines = airLines({ gathered, ...whole }, MOST_POINTS);
  const tests = airTests(gathered);
  const cycles = airCycles(gathered);
  if (lines.length === 0 && tests.length === 0 && cycles.length === 0) return null;
  const listed = worstFirst(tests).slice(0, MOST_TESTS);
  const kept = longest(cycles);
  const running = runningUntil(gathered);
  const runningS = running === null ? null : running(whole.toMs) / 1000;
  const view = { gathered, ...whole };
  return {
    plot: {
      title: 'Air pressure',
      fromS: atS(gathered, whole.fromMs),
      toS: atS(gathered, whole.toMs),
      axes: [{ unit: 'kPa', label: 'air pressure' }],
      lines,
      limits: airLimits(gathered.config),
      spans: [...gapSpans(gathered), ...pumpingSpans(view), ...testSpans(view)],
      marks: [],
    },
    cycles: kept.map(({ startMs, values }) => ({
      s: atS(gathered, startMs),
      pumpingS: values.pumpingS,
      cutInKpa: values.cutInKpa,
      cutOutKpa: values.cutOutKpa,
      revolutionsPer100Kpa: values.revolutionsPer100Kpa,
    })),
    tests: listed.map((test, i) => rowOf(gathered, test, i < MOST_PLOTS)),
    leftOut: tests.length - listed.length,
    cyclesLeftOut: cycles.length - kept.length,
    compressorShare: compressorShare(gathered, runningS),
  };
}

function rowOf(gathered: Gathered, test: AirTest, hasPlot: boolean): AirSection['tests'][number] {
  const { seconds, state, circuit, fallKpa, kpaPerMin, limit } = test.values;
  return {
    s: atS(gathered, test.startMs),
    seconds,
    state,
    circuit,
    fallKpa,
    kpaPerMin,
    limitKpaPerMin: limit,
    passed: hasPassed(test.values),
    plot: hasPlot ? testPlot(gathered, test) : null,
  };
}

const gapSpans = (gathered: Gathered): PlotSpan[] =>
  gathered.gaps.slice(0, MOST_GAPS).map(({ fromMs, toMs }) => ({
    kind: 'gap',
    fromS: atS(gathered, fromMs),
    toS: atS(gathered, toMs),
    label: `nothing heard for ${lasting(lengthS(toMs - fromMs))}`,
  }));

/** Those that failed, then by how near the rate came to what is allowed. */
function worstFirst(tests: readonly AirTest[]): AirTest[] {
  const rank = ({ values }: AirTest): number => (hasPassed(values) ? 0 : 1e6) + values.kpaPerMin / values.limit;
  return [...tests].sort((a, b) => rank(b) - rank(a) || a.startMs - b.startMs);
}

function longest(cycles: ReturnType<typeof airCycles>): ReturnType<typeof airCycles> {
  if (cycles.length <= MOST_CYCLES) return cycles;
  const ranked = [...cycles].sort((a, b) => b.values.pumpingS - a.values.pumpingS || a.startMs - b.startMs);
  return ranked.slice(0, MOST_CYCLES).sort((a, b) => a.startMs - b.startMs);
}
