import { URGENCIES } from '../../../config/resolved.js';
import { Glyph, URGENCY_WORDS } from '../parts/urgency.js';

/** What shapes and hatches of the time axis mean. */
export function GlanceKey() {
  return (
    <ul class="glance-key" aria-label="Key of the time axis">
      {URGENCIES.map((urgency) => (
        <li key={urgency}>
          <span class="bar sample">
            <i class={urgency} />
          </span>
          <Glyph urgency={urgency} />
          {URGENCY_WORDS[urgency].toLowerCase()}
        </li>
      ))}
      <li>
        <span class="bar sample">
          <i class="gap" />
        </span>
        nothing was heard
      </li>
    </ul>
  );
}
