import { zoomTo } from './range.js';

/** What plots of one alert share: the instant that is read and the part of the time that is seen. */
export class PlotGroup {
  cursorS: number | null = null;
  range: [number, number] | null = null;
  readonly #told = new Set<(what: 'cursor' | 'range') => void>();

  /** @returns ends it */
  subscribe(tell: (what: 'cursor' | 'range') => void): () => void {
    this.#told.add(tell);
    return () => this.#told.delete(tell);
  }

  setCursor(s: number | null): void {
    if (s === this.cursorS) return;
    this.cursorS = s;
    for (const tell of this.#told) tell('cursor');
  }

  setRange(range: [number, number] | null): void {
    this.range = range;
    for (const tell of this.#told) tell('range');
  }

  /** What of a plot is seen now; null: the whole of it. */
  seenOf(fromS: number, toS: number): [number, number] | null {
    return this.range === null ? null : zoomTo([fromS, toS], ...this.range);
  }
}
