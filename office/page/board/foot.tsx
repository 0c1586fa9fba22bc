/** What this is not. */
export const Advises = () => (
  <p class="advises">
    Axlepost advises. It does not replace the driver's inspection, a gauge, local codes or a licensed mechanic.
  </p>
);

const KEYS: [string, string][] = [
  ['J, K', 'next and previous alert'],
  ['T', 'I have it'],
  ['N', 'note'],
  ['S', 'snooze'],
  ['O', "open the truck's page"],
];

export const Foot = () => (
  <footer class="foot">
    <details>
      <summary>Keys</summary>
      <p>They work while an alert has the focus; Tab reaches everything as well.</p>
      <dl class="keys">
        {KEYS.map(([key, does]) => (
          <div key={key}>
            <dt>
              <kbd>{key}</kbd>
            </dt>
            <dd>{does}</dd>
          </div>
        ))}
      </dl>
    </details>
    <Advises />
  </footer>
);
