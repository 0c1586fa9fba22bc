import { useState } from 'preact/hooks';
import { useDesk } from '../board/desk.js';
import { couple } from '../live/http.js';

const MOST_TRAILER = 64;

interface TrailerProps {
  fleet: string;
  truck: string;
  trailer: string | null;
}

/** Which trailer is coupled: people know it, the bus seldom tells. The truck takes it up, and closes what was open of another. */
export function Trailer({ fleet, truck, trailer }: TrailerProps) {
  const { me } = useDesk();
  const [typed, type] = useState<string | null>(null);
  const [said, say] = useState('');
  const send = async (name: string | null): Promise<void> => {
    const outcome = await couple(me, { fleet, truck }, name);
    if (outcome.kind === 'sent') say('The truck is told; it shows here when it has taken it up.');
    else
      say(outcome.kind === 'refused' ? outcome.why : 'The office cannot be reached: nobody knows whether it was told.');
    type(null);
  };
  const submit = (event: SubmitEvent): void => {
    event.preventDefault();
    void send((typed ?? trailer ?? '').trim() || null);
  };
  return (
    <details class="trailer-form">
      <summary>Which trailer is coupled</summary>
      <form onSubmit={submit}>
        <label for="trailer-name">Trailer (empty: not known)</label>
        <input
          id="trailer-name"
          maxLength={MOST_TRAILER}
          autocomplete="off"
          value={typed ?? trailer ?? ''}
          onInput={(event) => type(event.currentTarget.value)}
        />
        <button type="submit">Tell the truck</button>
        <p class="hint">What is open on another trailer is closed as gone, and its wheels are learned anew.</p>
        <p role="status">{said}</p>
      </form>
    </details>
  );
}
