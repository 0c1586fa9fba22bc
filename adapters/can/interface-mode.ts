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

/**
 * What a CAN controller and its driver say of themselves: `state` in the kernel's words (ERROR-ACTIVE, ERROR-WARNING,
 * ERROR-PASSIVE, BUS-OFF, STOPPED), how often each was entered since the interface was made, and the controller's own
 * error counters where the driver can read them.
 */
export interface ControllerHealth {
  state: string;
  errorWarning: number;
  errorPassive: number;
  busOff: number;
  busErrors: number;
  arbitrationLost: number;
  restarts: number;
  receiveErrors: number | null;
  transmitErrors: number | null;
}

interface Link {
  flags?: string[];
  link_type?: string;
  linkinfo?: {
    info_kind?: string;
    info_data?: { ctrlmode?: string[]; state?: string; berr_counter?: { tx: number; rx: number } };
    info_xstats?: Record<string, number>;
  };
}

/** Kinds of CAN links without a controller (linux/drivers/net/can/vcan.c, vxcan.c). */
const VIRTUAL_KINDS: readonly (string | undefined)[] = ['vcan', 'vxcan'];

const ABSENT: InterfaceMode = { kind: 'absent', up: false };

/** iproute2 prints empty objects for links that a filter left out. Throws SyntaxError when it is no JSON. */
const linkIn = (json: string): Link | undefined =>
  (JSON.parse(json) as Link[]).find(({ flags }) => flags !== undefined);

/**
 * Reads the output of `ip -details -statistics -json link show dev NAME`. A CAN link whose mode is not told (old
 * drivers) counts as acknowledging. Throws SyntaxError when it is no JSON.
 */
export function modeOf(json: string): InterfaceMode {
  const link = linkIn(json);
  if (link === undefined) return ABSENT;
  const up = link.flags!.includes('UP');
  if (link.link_type !== 'can') return { kind: 'foreign', up };
  if (VIRTUAL_KINDS.includes(link.linkinfo?.info_kind)) return { kind: 'virtual', up };
  const silent = link.linkinfo?.info_data?.ctrlmode?.includes('LISTEN-ONLY') === true;
  return { kind: silent ? 'listen-only' : 'acknowledging', up };
}

/** From the same output; null for an interface without a controller. Throws SyntaxError when it is no JSON. */
export function controllerOf(json: string): ControllerHealth | null {
  const { info_data: data, info_xstats: stats } = linkIn(json)?.linkinfo ?? {};
  if (data?.state === undefined) return null;
  return {
    state: data.state,
    errorWarning: stats?.error_warning ?? 0,
    errorPassive: stats?.error_passive ?? 0,
    busOff: stats?.bus_off ?? 0,
    busErrors: stats?.bus_error ?? 0,
    arbitrationLost: stats?.arbitration_lost ?? 0,
    restarts: stats?.restarts ?? 0,
    receiveErrors: data.berr_counter?.rx ?? null,
    transmitErrors: data.berr_counter?.tx ?? null,
  };
}

interface IpError extends Error {
  code?: string | number;
  stderr?: string;
}

/** What is shown of a link; nothing is ever set. */
const SHOW = ['-details', '-statistics', '-json', 'link', 'show'];

async function askIp(name: string, program: string): Promise<string> {
  // Nothing of ours is handed on, the service manager's socket least of all; and its errors come in one language.
  const env = { PATH: process.env.PATH, LC_ALL: 'C' };
  return (await promisify(execFile)(program, [...SHOW, 'dev', name], { env })).stdout;
}

/**
 * The mode of an interface of this machine. Rejects, with one line, when it cannot be told: then nobody may listen.
 * @param program stands for `ip` in tests
 */
export async function interfaceMode(name: string, program = 'ip'): Promise<InterfaceMode> {
  try {
    return modeOf(await askIp(name, program));
  } catch (cause) {
    const error = cause as IpError;
    if (error.code === 'ENOENT') throw new Error('the program "ip" is missing; install iproute2', { cause });
    if (/does not exist|can't find device/i.test(error.stderr ?? '')) return ABSENT;
    const why = (error.stderr || error.message).trim().split('\n')[0];
    throw new Error(`${name}: its control mode cannot be read with "ip -details -json link show" (${why})`, { cause });
  }
}

/** What the controller of an interface says, or null where there is none or it cannot be read. Never rejects. */
export async function controllerHealth(name: string, program = 'ip'): Promise<ControllerHealth | null> {
  return askIp(name, program)
    .then(controllerOf)
    .catch(() => null);
}
