import { execFile } from 'node:child_process';
import { promisify } from 'node:util';

/** How a CAN controller takes part in the bus. A virtual interface has no controller. */
export type InterfaceMode = 'listen-only' | 'acknowledging' | 'virtual' | 'down' | 'absent';

interface Link {
  flags?: string[];
  linkinfo?: { info_kind?: string; info_data?: { ctrlmode?: string[] } };
}

/** Reads the output of `ip -details -json link show`. */
export function modeOf(json: string): InterfaceMode {
  const [link] = JSON.parse(json) as Link[];
  if (link?.linkinfo?.info_kind === undefined) return 'absent';
  if (link.flags?.includes('UP') !== true) return 'down';
  if (link.linkinfo.info_kind !== 'can') return 'virtual';
  return link.linkinfo.info_data?.ctrlmode?.includes('LISTEN-ONLY') === true ? 'listen-only' : 'acknowledging';
}

/** The mode of an interface of this machine. Rejects when `ip` is not there. */
export async function interfaceMode(name: string): Promise<InterfaceMode> {
  try {
    const { stdout } = await promisify(execFile)('ip', ['-details', '-json', 'link', 'show', 'dev', name]);
    return modeOf(stdout);
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT')
      throw new Error('the program "ip" is missing; install iproute2', { cause: error });
    return 'absent';
  }
}
