import { openFile } from '../../../adapters/store/connection.js';
import { MIGRATIONS } from '../../../adapters/store/schema.js';
import { packState } from '../../../adapters/store/state-text.js';
import { BY, draft, openAlert, openDraft, ZERO_MS } from './helpers.js';

export const STORE = 'k3f9q2m1x7ab';
export const ID = `T-1042.${STORE}.1`;

/** A database as the program with schema 1 left it: two events, one of them not confirmed, a state as text, trips, history. */
export function schema1(path: string): void {
  const db = openFile(path, [], MIGRATIONS.slice(0, 1));
  const json = JSON.stringify;
  db.exec(`
    INSERT INTO meta VALUES (1, '${STORE}', 'T-1042', ${ZERO_MS}, 3, 2);
    INSERT INTO runs VALUES (2, ${ZERO_MS}, 1, ${ZERO_MS}), (3, ${ZERO_MS + 7_200_000}, 1, ${ZERO_MS + 7_200_000});
    INSERT INTO alerts VALUES (1, '${ID}', 4, NULL, 'tire-underinflated', 'equipment', 'tractor/2/left/outer',
      'tractor axle 2, left outer tire', 'open', NULL, 'plan', 'plan', 2, 2);
    INSERT INTO series VALUES (1, 'tractor/1/left/single', 'pressure');
    INSERT INTO history VALUES (3, 0, 1, 800.5, 804, 802, 6);
    INSERT INTO trips VALUES (2, 1, 0, 0, 900000, 12.5, 0, 0), (3, 2, 1, 0, 60000, NULL, 1, 0);
    INSERT INTO outbox VALUES ('event', 2, NULL),
      ('gap', 1, '{"fromSeq":1,"toSeq":1,"what":"events of ended plan alerts","count":1,"why":"no room"}');`);
  const event = db.prepare(
    `INSERT INTO events VALUES (?, 1, NULL, 3, ?, 'tire-underinflated', 'tractor/2/left/outer', ?, 'plan', ?)`,
  );
  event.run(1, 60_000, 'raised', json(draft(4, 'raised')));
  event.run(2, 61_000, 'unsure', json(draft(4, 'unsure', { t: 61_000 })));
  db.prepare('INSERT INTO state VALUES (1, 3, 61000, ?)').run('{"what":"the rules know"}');
  db.prepare('INSERT INTO open VALUES (1, 3, 60000, 2, ?, ?, ?)').run(
    json([ID]),
    json([null]),
    json(openDraft([openAlert(4)])),
  );
  db.close();
}

/** The same as the program with schema 2 left it: a trip that waits, with what decided it, and one under way. */
export function schema2(path: string): void {
  schema1(path);
  const db = openFile(path, [], MIGRATIONS.slice(0, 2));
  db.exec(`
    UPDATE trips SET config = '${BY.config}', version = '${BY.version}', not_judged = '[]' WHERE trip = 1;
    UPDATE events SET config = '${BY.config}', version = '${BY.version}';
    INSERT INTO outbox VALUES ('trip', 1, '{"boot":2,"trip":1}');`);
  db.prepare('UPDATE state SET state = ?').run(packState('{"what":"the rules know"}'));
  db.close();
}
