/** Where things stand on one pressure scale with its last hours. Pure. The box is WIDTH × HEIGHT, the scale at its right edge. */

export const WIDTH = 220;
export const HEIGHT = 96;
/** What lies behind the scale: time. */
export const SCALE_X = 176;
const PAD = 8;

export interface PostInput {
  nowKpa: number | null;
  /** Ends of the scale. */
  lowKpa: number;
  highKpa: number;
  /** [ms, kPa] ascending; a hole longer than gapMs stays open. */
  history: readonly (readonly [number, number])[];
  fromMs: number;
  toMs: number;
  gapMs: number;
}

export interface Post {
  /** Pieces of the last hours, each "x,y x,y". */
  lines: string[];
  /** Of the mark; `beyond`: off the scale, it stands at the end. */
  mark: { y: number; beyond: 'above' | 'below' | null } | null;
  y(kpa: number): number;
}

export function postOf(input: PostInput): Post {
  const { lowKpa, highKpa, fromMs, toMs, nowKpa } = input;
  const y = (kpa: number): number => {
    const share = Math.min(1, Math.max(0, (kpa - lowKpa) / (highKpa - lowKpa)));
    return round(HEIGHT - PAD - share * (HEIGHT - 2 * PAD));
  };
  const x = (ms: number): number => round(((ms - fromMs) / (toMs - fromMs)) * SCALE_X);
  const lines = pieces(input.history, input.gapMs).map((piece) =>
    piece.map(([ms, kpa]) => `${x(ms)},${y(kpa)}`).join(' '),
  );
  const beyond = nowKpa === null ? null : nowKpa > highKpa ? 'above' : nowKpa < lowKpa ? 'below' : null;
  return { lines, mark: nowKpa === null ? null : { y: y(nowKpa), beyond }, y };
}

/** Cut wherever nothing was told for longer than gapMs. */
export function pieces<T extends readonly [number, number]>(points: readonly T[], gapMs: number): T[][] {
  const found: T[][] = [];
  for (const point of points) {
    const piece = found.at(-1);
    if (piece === undefined || point[0] - piece.at(-1)![0] > gapMs) found.push([point]);
    else piece.push(point);
  }
  return found;
}

const round = (n: number): number => Math.round(n * 10) / 10;
