import type { BoardTruck } from '../../core/board-model.js';
import { nameOf } from './groups.js';
import { fullName } from './names.js';

const MOST_OFFERED = 200;

/** Any truck by its name, also one that has nothing to tell and is not on the board. */
export function FindTruck({ trucks }: { trucks: ReadonlyMap<string, BoardTruck> }) {
  const find = (event: SubmitEvent): void => {
    event.preventDefault();
    const form = event.currentTarget as HTMLFormElement;
    const written = String(new FormData(form).get('truck')).trim();
    if (written === '') return;
    location.hash = `#/trucks/${fullName(written, trucks)}`;
    form.reset();
  };
  return (
    <search>
      <form class="find" onSubmit={find}>
        <label>
          <span class="hidden">Find a truck by its name</span>
          <input
            name="truck"
            list="trucks"
            placeholder="Find a truck"
            autocomplete="off"
            maxLength={65}
            enterkeyhint="go"
          />
        </label>
        <datalist id="trucks">
          {[...trucks.values()].slice(0, MOST_OFFERED).map((truck) => (
            <option key={nameOf(truck)} value={nameOf(truck)} />
          ))}
        </datalist>
      </form>
    </search>
  );
}
