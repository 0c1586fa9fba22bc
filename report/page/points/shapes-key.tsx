import type { Shape } from './cloud.js';

/** A shape as the canvas draws it, for keys. */
export function ShapeMark({ shape, isFull }: { shape: Shape; isFull: boolean }) {
  return (
    <svg class={`shape ${isFull ? 'full' : ''} ${shape === 'dot' ? '' : 'bad'}`} viewBox="0 0 16 16" aria-hidden="true">
      {shape === 'dot' && <circle cx="8" cy="8" r="4" />}
      {shape === 'triangle' && <path d="M8 2 L14 13 H2 Z" />}
      {shape === 'cross' && <path d="M3 3 L13 13 M3 13 L13 3" />}
      {shape === 'square' && <path d="M3.5 3.5 H12.5 V12.5 H3.5 Z" />}
    </svg>
  );
}
