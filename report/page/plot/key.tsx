import { useMemo } from 'preact/hooks';
import type { Plot } from '../../data.js';
import { useReader } from '../reader.js';
import { type ReadOut, valueWidths } from './plot-words.js';
import { kindsOf, type Pattern, SPANS } from './spans.js';
import { type LineStyle, lineStyles } from './style.js';

/** What the lines, limits and patterns mean; with the values of the instant that is read. */
export function Key({ plot, read }: { plot: Plot; read: ReadOut | null }) {
  const { show } = useReader();
  const widths = useMemo(() => valueWidths(plot, show), [plot, show]);
  const styles = lineStyles(plot.lines);
  const isBold = plot.lines.some(({ role }) => role !== 'judged');
  const kinds = new Set(plot.limits.map(({ kind }) => kind));
  return (
    <ul class="key">
      {plot.lines.map((line, i) => (
        <li key={`${i} ${line.label}`}>
          <Stroke style={styles[i]!} />
          <span class={isBold && line.role === 'judged' ? 'judged' : ''}>{line.label}</span>
          <b class="value" style={{ minWidth: `${widths[i]}ch` }}>
            {read !== null && (read.values[i] ?? 'nothing')}
          </b>
        </li>
      ))}
      {kinds.has('raise') && <LimitKey dash="" words="raise at" />}
      {kinds.has('clear') && <LimitKey dash="7 4" words="clear at" />}
      {kinds.has('target') && <LimitKey dash="1.5 3" words="target" />}
      {kindsOf(plot).map((kind) => (
        <li key={kind}>
          <Swatch pattern={SPANS[kind].pattern} />
          {SPANS[kind].key}
        </li>
      ))}
    </ul>
  );
}

const LINE_WIDTH = 30;

function Stroke({ style: { colour, width, dash } }: { style: LineStyle }) {
  return (
    <svg class="stroke" width={LINE_WIDTH} height="8" aria-hidden="true">
      <line
        x1="0"
        x2={LINE_WIDTH}
        y1="4"
        y2="4"
        style={{ stroke: `var(${colour})` }}
        stroke-width={width}
        stroke-dasharray={dash.join(' ')}
      />
    </svg>
  );
}

function LimitKey({ dash, words }: { dash: string; words: string }) {
  return (
    <li>
      <LineMark dash={dash} />
      {words}
    </li>
  );
}

function Swatch({ pattern }: { pattern: Pattern }) {
  return (
    <svg class="swatch" width="18" height="10" aria-hidden="true">
      <rect class={`fill-${pattern}`} x="0.5" y="0.5" width="17" height="9" />
      {(pattern === 'rising' || pattern === 'cross') && <path d="M2 9.5 L11 0.5 M8 9.5 L17 0.5" />}
      {(pattern === 'falling' || pattern === 'cross') && <path d="M2 0.5 L11 9.5 M8 0.5 L17 9.5" />}
      {pattern === 'dots' && <path class="dots" d="M4 5 h1 M9 5 h1 M14 5 h1" />}
    </svg>
  );
}

/** A limit's line as the canvas draws it. */
export function LineMark({ dash }: { dash: string }) {
  return (
    <svg class="stroke" width={LINE_WIDTH} height="8" aria-hidden="true">
      <line class="limit" x1="0" x2={LINE_WIDTH} y1="4" y2="4" stroke-dasharray={dash} />
    </svg>
  );
}
