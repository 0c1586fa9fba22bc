import { loadTruckFile } from '../../config/load.js';
import { formatProblem } from '../../config/problems.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { Out } from './console.js';
import { EXIT, Failure } from './failure.js';

/** The truck file, or a failure with one line per problem. Notes go to err. */
export function readTruck(path: string, err: Out): TruckConfig {
  const { config, notes, problems } = loadTruckFile(path);
  if (config === undefined) throw new Failure(EXIT.usage, problems.map(formatProblem).join('\n'));
  for (const note of notes) err.write(`${formatProblem({ ...note, text: `note: ${note.text}` })}\n`);
  return config;
}
