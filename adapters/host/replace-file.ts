import {
  closeSync,
  fchmodSync,
  fsyncSync,
  openSync,
  realpathSync,
  renameSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { dirname } from 'node:path';

const NEW_MODE = 0o644;

/**
 * Writes a file in one step: whoever reads sees the old text or the new one, after a power cut too. Permissions stay; a link
 * stays one. Throws what the system says, and has then changed nothing.
 * @param mode default: that of the old file
 */
export function replaceFile(path: string, text: string, mode?: number): void {
  const known = statSync(path, { throwIfNoEntry: false });
  const target = known === undefined ? path : realpathSync(path);
  const draft = `${target}.${process.pid}.new`;
  try {
    const file = openSync(draft, 'w', NEW_MODE);
    try {
      const wanted = mode ?? known?.mode;
      if (wanted !== undefined) fchmodSync(file, wanted);
      writeFileSync(file, text);
      fsyncSync(file);
    } finally {
      closeSync(file);
    }
    renameSync(draft, target);
  } catch (error) {
    rmSync(draft, { force: true });
    throw error;
  }
  const folder = openSync(dirname(target), 'r');
  try {
    // A new name is on disk only when its directory is.
    fsyncSync(folder);
  } finally {
    closeSync(folder);
  }
}
