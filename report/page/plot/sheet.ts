import type uPlot from 'uplot';
import { type Palette, paletteNow } from './palette.js';

/** How a drawing is to be laid out. */
export interface Layout {
  /** CSS pixels, as uPlot is told them. */
  width: number;
  height: number;
  /** Times that it is laid out larger than it is seen: paper has more dots than a screen. */
  magnified: number;
  palette: Palette;
}

/** Width on paper, CSS pixels: what A4 and Letter have between their margins, less some; and how much lower a plot is there. */
const PAPER = { full: { width: 680, lower: 40 }, half: { width: 336, lower: 20 } } as const;
export type PaperWidth = keyof typeof PAPER;
const PAPER_DOTS = 2;
/** Above so many plots paper gets fewer dots, as all of them are in memory at once. */
const MANY_PLOTS = 90;
/** Plots are drawn before they come into view, and dropped when they are far from it: canvases are large. */
const NEAR = '1200px 0px';

type Build = (element: HTMLElement, layout: Layout) => uPlot;

const sheets = new Map<Element, Sheet>();
let isPrinting = false;

/** One drawing in its place: drawn while it is near, anew when its width, the look or the medium changes. */
export class Sheet {
  plot: uPlot | null = null;
  #isNear = false;
  #width = 0;
  readonly element: HTMLElement;
  readonly #height: number;
  readonly #paper: PaperWidth;
  readonly #build: Build;

  /** @param height CSS pixels on screen */
  constructor(element: HTMLElement, height: number, paper: PaperWidth, build: Build) {
    this.element = element;
    this.#height = height;
    this.#paper = paper;
    this.#build = build;
    sheets.set(element, this);
    if (isPrinting) this.print();
    observers().near.observe(element);
    observers().size.observe(element);
  }

  end(): void {
    observers().near.unobserve(this.element);
    observers().size.unobserve(this.element);
    sheets.delete(this.element);
    this.#drop();
  }

  near(isNear: boolean): void {
    if (isNear === this.#isNear) return;
    this.#isNear = isNear;
    if (!isPrinting) this.redraw();
  }

  sized(): void {
    if (!isPrinting && this.plot !== null && this.element.clientWidth !== this.#width) this.redraw();
  }

  /** On screen. */
  redraw(): void {
    this.#drop();
    if (!this.#isNear) return;
    this.#width = this.element.clientWidth;
    if (this.#width > 0) this.#draw(this.#width, this.#height, 1);
  }

  print(): void {
    this.#drop();
    const dots = sheets.size > MANY_PLOTS ? 1.4 : PAPER_DOTS;
    const { width, lower } = PAPER[this.#paper];
    this.#draw(width, this.#height - lower, Math.max(1, dots / devicePixelRatio));
  }

  #draw(width: number, height: number, magnified: number): void {
    this.plot = this.#build(this.element, {
      width: Math.round(width * magnified),
      height: Math.round(height * magnified),
      magnified,
      palette: palette(),
    });
  }

  #drop(): void {
    this.plot?.destroy();
    this.plot = null;
  }
}

let known: Palette | null = null;
const palette = (): Palette => {
  known ??= paletteNow();
  return known;
};

let made: { near: IntersectionObserver; size: ResizeObserver } | null = null;

function observers(): { near: IntersectionObserver; size: ResizeObserver } {
  made ??= {
    near: new IntersectionObserver(
      (entries) => {
        for (const { target, isIntersecting } of entries) sheets.get(target)?.near(isIntersecting);
      },
      { rootMargin: NEAR },
    ),
    size: new ResizeObserver((entries) => {
      for (const { target } of entries) sheets.get(target)?.sized();
    }),
  };
  return made;
}

/** After the look changed. */
export function redrawAll(): void {
  known = null;
  for (const sheet of sheets.values()) sheet.redraw();
}

/** Every plot at the width of paper, or back as they were. The style sheet has to have the look of paper by then. */
export function printAll(printing: boolean): void {
  if (printing === isPrinting) return;
  isPrinting = printing;
  known = null;
  for (const sheet of sheets.values()) printing ? sheet.print() : sheet.redraw();
}
