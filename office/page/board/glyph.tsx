import type { Urgency } from '../../../config/resolved.js';
import { URGENCY_WORDS } from '../words/alerts.js';

/** A shape for each urgency, told apart without colour: eight corners to stop, a triangle to take care, an open ring to plan. */
const SHAPES: Record<Urgency, preact.JSX.Element> = {
  'pull-over': <path d="M8 1h8l7 7v8l-7 7H8l-7-7V8z" class="fill" />,
  'next-stop': <path d="M12 1.5 23.5 22H.5z" class="fill" />,
  plan: <circle cx="12" cy="12" r="9" class="ring" />,
};

const MARKS: Record<Urgency, preact.JSX.Element | null> = {
  'pull-over': <path d="M8 8l8 8M16 8l-8 8" class="cut" />,
  'next-stop': <path d="M12 9v6M12 17.6v1.6" class="cut" />,
  plan: null,
};

/** Words stand beside it, so that a screen reader is not told twice. */
export const Glyph = ({ urgency }: { urgency: Urgency }) => (
  <svg class={`glyph ${urgency}`} viewBox="0 0 24 24" aria-hidden="true">
    {SHAPES[urgency]}
    {MARKS[urgency]}
  </svg>
);

/** Shape and words. */
export const UrgencyTag = ({ urgency, isLong = false }: { urgency: Urgency; isLong?: boolean }) => (
  <span class={`urgency ${urgency}`}>
    <Glyph urgency={urgency} />
    <span>
      <strong>{URGENCY_WORDS[urgency].name}</strong>
      {isLong && <span class="means"> {URGENCY_WORDS[urgency].means}</span>}
    </span>
  </span>
);
