import type { Words } from '../../data.js';
import { useReader } from '../reader.js';

/** A sentence with its instants on the reader's clock. */
export function Said({ words }: { words: Words }) {
  const { clock } = useReader();
  return (
    <>{words.map((part, i) => (typeof part === 'string' ? part : <time key={i}>{clock.moment(part.atS)}</time>))}</>
  );
}
