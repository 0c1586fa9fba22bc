import { COLUMN } from './series.js';

/** One line of a plot. */
export interface PlotLine {
  subject: string;
  name: string;
  column: number;
}

export interface PlotChoice {
  title: string;
  unit: 'kPa' | '°C';
  lines: PlotLine[];
}

/** More lines cannot be told apart. */
const MOST_LINES = 4;

/**
 * What to plot around an alert: the tires of its axle, since one tire is judged beside the others; their temperatures where heat is the matter;
 * the circuits where it is air. Null where readings do not show it.
 */
export function plotOf(alert: { rule: string; subject: string }, subjects: readonly string[]): PlotChoice | null {
  if (alert.subject.startsWith('air/')) {
    const lines = subjects.filter((subject) => subject.startsWith('air/')).slice(0, MOST_LINES);
    return choice(
      'Air pressure',
      'kPa',
      lines.map((subject) => ({ subject, name: subject.slice(4), column: COLUMN.measured })),
    );
  }
  const [unit, axle, side] = alert.subject.split('/');
  const isTire = (subject: string): boolean =>
    subject.startsWith(`${unit}/${axle}/`) && subject.split('/').length === 4;
  const tires = subjects
    .filter(isTire)
    .sort((a, b) => Number(b.includes(`/${side}/`)) - Number(a.includes(`/${side}/`)));
  const isHeat = /hot|drag/.test(alert.rule);
  const lines = tires.slice(0, MOST_LINES).map((subject) => {
    const name = subject
      .split('/')
      .slice(2)
      .filter((word) => word !== 'single')
      .join(' ');
    return { subject, name, column: isHeat ? COLUMN.celsius : COLUMN.cold };
  });
  const place = `${unit} axle ${axle}`;
  return isHeat
    ? choice(`Temperatures of ${place}`, '°C', lines)
    : choice(`Cold-equivalent pressures of ${place}`, 'kPa', lines);
}

const choice = (title: string, unit: 'kPa' | '°C', lines: PlotLine[]): PlotChoice | null =>
  lines.length === 0 ? null : { title, unit, lines };
