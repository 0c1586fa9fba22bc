import { readFileSync } from 'node:fs';
import { arch, availableParallelism, cpus, platform, release, totalmem, uptime } from 'node:os';
import { join } from 'node:path';
import { packageRoot, packageVersion } from '../../config/package.js';
import { readCounters } from '../can/interface-counters.js';
import { controllerHealth, interfaceMode } from '../can/interface-mode.js';

/** What runs here, as far as a fault may depend on it. Nothing that names the computer or its owner. */
export function versions(): Record<string, unknown> {
  const { node, v8, openssl, modules, napi } = process.versions;
  return {
    axlepost: packageVersion(),
    node: { node, v8, openssl, modules, napi },
    system: { name: distribution(), platform: platform(), kernel: release(), arch: arch() },
    processor: { model: cpus()[0]?.model ?? null, cores: availableParallelism() },
    memoryBytes: totalmem(),
    uptimeS: Math.round(uptime()),
    packages: packageVersions(),
  };
}

/** https://www.freedesktop.org/software/systemd/man/latest/os-release.html */
function distribution(): string | null {
  try {
    return /^PRETTY_NAME="?([^"\n]*)/m.exec(readFileSync('/etc/os-release', 'utf8'))?.[1] ?? null;
  } catch {
    return null;
  }
}

/** Of each package that the program needs to run; null: it is not installed. */
function packageVersions(): Record<string, string | null> {
  const root = packageRoot();
  const read = (folder: string) => JSON.parse(readFileSync(join(folder, 'package.json'), 'utf8')) as Manifest;
  const { dependencies, optionalDependencies } = read(root);
  return Object.fromEntries(
    Object.keys({ ...dependencies, ...optionalDependencies }).map((name) => {
      try {
        return [name, read(join(root, 'node_modules', name)).version];
      } catch {
        return [name, null];
      }
    }),
  );
}

interface Manifest {
  version: string;
  dependencies?: Record<string, string>;
  optionalDependencies?: Record<string, string>;
}

/** How each interface takes part in its bus, its controller and its counters; what cannot be told is told as a line. */
export async function interfaces(names: readonly string[]): Promise<Record<string, unknown>> {
  const about = names.map(async (name) => {
    const mode = await interfaceMode(name).catch((error: unknown) => (error as Error).message);
    return [name, { mode, controller: await controllerHealth(name), counters: await readCounters(name) }] as const;
  });
  return Object.fromEntries(await Promise.all(about));
}
