import { execFile } from 'node:child_process';
import { promisify } from 'node:util';

/**
 * How an interface takes part in the bus. `virtual` has no controller. `acknowledging` is every controller that is not known
 * to be in listen-only mode, whether it is up or not. `foreign`: no CAN interface.
 */
export interface InterfaceMode {
  kind: 'listen-only' | 'acknowledging' | 'virtual' | 'foreign' | 'absent';
  up: boolean;
}

interface Link {
  flags?: string[];
  link_type?: string;
  linkinfo?: { info_kind?: string; info_data?: { ctrlmode?: string[] } };
}

/** Kinds of CAN links without a controller (linux/drivers/net/can/vcan.c, vxcan.c). */
const VIRTUAL_KINDS: readonly (string | undefined)[] = ['vcan', 'vxcan'];

const ABSENT: InterfaceMode = { kind: 'absent', up: false };

/**
 * Reads the output of `ip -details -json link show dev NAME`. A CAN link whose mode is not told (serial-line adapters, old
 * drivers) counts as acknowledging. Throws SyntaxError when it is no JSON.
 */
export function modeOf(json: string): InterfaceMode {
  // iproute2 prints empty objects for links that a filter left out.
  const link = (JSON.parse(json) as Link[]).find(({ flags }) => flags !== undefined);
  if (link === undefined) return ABSENT;
  const up = link.flags!.includes('UP');
  if (link.link_type !== 'can') return { kind: 'foreign', up };
  if (VIRTUAL_KINDS.includes(link.linkinfo?.info_kind)) return { kind: 'virtual', up };
  const silent = link.linkinfo?.info_data?.ctrlmode?.includes('LISTEN-ONLY') === true;
  return { kind: silent ? 'listen-only' : 'acknowledging', up };
}

interface IpError extends Error {
  code?: string | number;
  stderr?: string;
}

/**
 * The mode of an interface of this machine. Rejects, with one line, when it cannot be told: then nobody may listen.
 * @param program stands for `ip` in tests
 */
export async function interfaceMode(name: string, program = 'ip'): Promise<InterfaceMode> {
  try {
    const { stdout } = await promisify(execFile)(program, ['-details', '-json', 'link', 'show', 'dev', name]);
    return modeOf(stdout);
  } catch (cause) {
    const error = cause as IpError;
    if (error.code === 'ENOENT') throw new Error('the program "ip" is missing; install iproute2', { cause });
    if (/does not exist|can't find device/i.test(error.stderr ?? '')) return ABSENT;
    const why = (error.stderr || error.message).trim().split('\n')[0];
    throw new Error(`${name}: its control mode cannot be read with "ip -details -json link show" (${why})`, { cause });
  }
}
