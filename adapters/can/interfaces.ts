import { basename } from 'node:path';
import { latin1 } from './candump-line.js';

/** Distinct interface names that are remembered; frames of further ones are unknown without being told. */
export const INTERFACES_KNOWN = 64;

/** Bus index of a name that is no bus of the truck file. */
export const UNKNOWN_BUS = -1;
/** Stands for an interface that its capture does not name. */
export const UNNAMED = 'unnamed';

const SPACE = 0x20;
const NAME_IT = 'give the file the name of the interface, like can1.pcap, or capture as pcapng';

/** `can1.pcap`, `can1-2026-03-02.pcap.gz`: what an interface is called that its capture does not name. */
export function interfaceOf(path: string): string {
  return /^(?:v|vx|sl)?can\d{1,3}(?=[._-]|$)/.exec(basename(path))?.[0] ?? UNNAMED;
}

/** A name as a line has it. */
export interface InterfaceName {
  readonly bytes: Uint8Array;
  readonly length: number;
  /** Of a name of three to seven bytes: its first four with the space that follows, its last three with it; little-endian. */
  readonly head: number;
  readonly tail: number;
}

interface Known {
  name: InterfaceName;
  bus: number;
}

/**
 * Interface names of a log → bus index.
 *
 * A truck file with one bus and a log whose first interface has another name: that interface is taken as the bus (a
 * recording from a bench or a laptop), and said once. So is every capture that names none. It is the first one alone, as a stream cannot be searched to its
 * end beforehand; when the configured name turns up after all, it takes over.
 */
export class Interfaces {
  /** Index of the bus of the name that `find` met last. */
  bus = UNKNOWN_BUS;
  /** Counts how often the bus of a name that was met before has changed. */
  changes = 0;
  private readonly known: Known[] = [];
  private readonly busOf: (name: string) => number;
  private readonly tell: (text: string, hint: string) => void;
  private readonly oneBus: boolean;
  private stand: { known: Known; name: string } | 'open' | 'none';

  /** @param oneBus the truck file has one bus, index 0 */
  constructor(busOf: (name: string) => number, oneBus: boolean, tell: (text: string, hint: string) => void) {
    this.busOf = busOf;
    this.tell = tell;
    this.oneBus = oneBus;
    this.stand = oneBus ? 'open' : 'none';
  }

  /** Like `find`, for a known name of at most `longest` bytes that ends at a space; else null and nothing changes. */
  recall(bytes: Uint8Array, start: number, longest: number): InterfaceName | null {
    let end = start;
    while (end - start <= longest && bytes[end] !== SPACE) end++;
    for (const known of this.known) {
      if (end - start > longest || !same(known.name.bytes, bytes, start, end)) continue;
      this.bus = known.bus;
      return known.name;
    }
    return null;
  }

  /** Sets `bus` for the name in bytes[start, end); returns the name, the same object each time, or null. */
  find(bytes: Uint8Array, start: number, end: number): InterfaceName | null {
    for (const known of this.known) {
      if (!same(known.name.bytes, bytes, start, end)) continue;
      this.bus = known.bus;
      return known.name;
    }
    return this.meet(bytes, start, end);
  }

  private meet(bytes: Uint8Array, start: number, end: number): InterfaceName | null {
    const name = latin1(bytes, start, end);
    this.bus = this.busOf(name);
    if (this.known.length >= INTERFACES_KNOWN) return null;
    const known = { name: nameOf(bytes.slice(start, end)), bus: this.bus };
    this.known.push(known);
    if (this.bus !== UNKNOWN_BUS) {
      this.endStandIn(name);
      return known.name;
    }
    if (name === UNNAMED && this.oneBus) {
      this.bus = known.bus = 0;
      this.tell('the capture does not name its interface', 'it is taken as the only bus');
      return known.name;
    }
    if (this.stand === 'open') {
      this.stand = { known, name };
      this.bus = known.bus = 0;
      this.tell(`interface ${name} is taken as the only bus`, 'name it in the truck file (buses) if that is right');
      return known.name;
    }
    const hint = 'its frames are skipped; add it to buses to use them';
    if (name === UNNAMED) this.tell('the capture does not name its interface, so its frames are skipped', NAME_IT);
    else this.tell(`interface ${name} is no bus of the truck file`, hint);
    return known.name;
  }

  /** A configured name is in the log: nothing else is, or stays, its stand-in. */
  private endStandIn(name: string): void {
    if (typeof this.stand === 'object') {
      this.stand.known.bus = UNKNOWN_BUS;
      this.changes++;
      this.tell(`interface ${name} comes after all`, `frames of ${this.stand.name} are skipped from here on`);
    }
    this.stand = 'none';
  }
}

function nameOf(bytes: Uint8Array): InterfaceName {
  const { length } = bytes;
  const spaced = new DataView(Uint8Array.from([...bytes, SPACE, 0, 0, 0]).buffer);
  return { bytes, length, head: spaced.getInt32(0, true), tail: spaced.getInt32(Math.max(0, length - 3), true) };
}

function same(name: Uint8Array, bytes: Uint8Array, start: number, end: number): boolean {
  if (name.length !== end - start) return false;
  for (let at = 0; at < name.length; at++) if (name[at] !== bytes[start + at]) return false;
  return true;
}
