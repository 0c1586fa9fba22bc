import type { Urgency } from '../../../config/resolved.js';

export const URGENCY_WORDS: Record<Urgency, string> = {
  plan: 'Plan',
  'next-stop': 'Next stop',
  'pull-over': 'Pull over',
};

export const RANK: Record<Urgency, number> = { plan: 1, 'next-stop': 2, 'pull-over': 3 };

/** Told apart by shape: ring, triangle, octagon. */
export function Glyph({ urgency }: { urgency: Urgency }) {
  return (
    <svg class={`glyph ${urgency}`} viewBox="0 0 16 16" aria-hidden="true">
      {urgency === 'plan' && <circle cx="8" cy="8" r="5.5" />}
      {urgency === 'next-stop' && <path d="M8 1.5 L15 14.5 H1 Z" />}
      {urgency === 'pull-over' && <path d="M5 1 H11 L15 5 V11 L11 15 H5 L1 11 V5 Z" />}
    </svg>
  );
}

export function UrgencyTag({ urgency }: { urgency: Urgency }) {
  return (
    <span class={`urgency ${urgency}`}>
      <Glyph urgency={urgency} />
      {URGENCY_WORDS[urgency]}
    </span>
  );
}
