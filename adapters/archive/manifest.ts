import { z } from 'zod';

/** Last in the archive: it tells what lies before it. */
export const MANIFEST = 'MANIFEST.json';
/** The database's copy, as SQLite opens it. */
export const DATABASE = 'database/axlepost.db';
/** The truck file with all that it builds on, as it was understood: SI units, defaults filled in. */
export const CONFIG = 'config/effective.json';
/** Logs and their sidecars, under their own names. */
export const RECORDINGS = 'recordings/';

const entrySchema = z.object({ name: z.string(), bytes: z.number().int().min(0), sha256: z.string() });
export type ManifestEntry = z.infer<typeof entrySchema>;

export const manifestSchema = z.object({
  v: z.literal(1),
  fleet: z.string(),
  truck: z.string(),
  version: z.string(),
  /** ISO 8601, by the computer's clock. */
  made: z.string(),
  lastHours: z.number(),
  /** What could not be had, one line each. */
  notes: z.array(z.string()),
  entries: z.array(entrySchema),
});
export type Manifest = z.infer<typeof manifestSchema>;
