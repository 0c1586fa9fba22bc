/** Strings from the bus are cut to this wherever they are decoded. */
export const MAX_TEXT = 64;

/** `data[start, end)` as printable ASCII; any other byte is left out, and nothing after `max` characters is kept. */
export function printableAscii(data: ArrayLike<number>, start: number, end: number, max: number = MAX_TEXT): string {
  let out = '';
  for (let i = Math.max(0, start); i < end && i < data.length && out.length < max; i++) {
    const byte = data[i]!;
    if (byte >= 0x20 && byte <= 0x7e) out += String.fromCharCode(byte);
  }
  return out.trim();
}

/**
 * The fields of a text group, each ended by `*`; what follows the last `*` counts if it is printable. An empty field is ''.
 * At most `most` fields.
 */
export function starFields(data: ArrayLike<number>, length: number, most: number): string[] {
  const end = Math.min(length, data.length);
  const fields: string[] = [];
  let start = 0;
  for (let i = 0; i < end && fields.length < most; i++) {
    if (data[i] !== 0x2a) continue;
    fields.push(printableAscii(data, start, i));
    start = i + 1;
  }
  if (fields.length < most) {
    const rest = printableAscii(data, start, end);
    if (rest !== '') fields.push(rest);
  }
  return fields;
}

/** Vehicle Identification (PGN 65260): the VIN, '' if there is none. */
export function decodeVehicleIdentification(data: ArrayLike<number>, length: number): string {
  return starFields(data, length, 1)[0] ?? '';
}

export interface ComponentIdentification {
  readonly make: string;
  readonly model: string;
  readonly serial: string;
  readonly unit: string;
}

/** Component Identification (PGN 65259); trailing fields may be missing and are ''. */
export function decodeComponentIdentification(data: ArrayLike<number>, length: number): ComponentIdentification {
  const [make = '', model = '', serial = '', unit = ''] = starFields(data, length, 4);
  return { make, model, serial, unit };
}
