import type { StartCheckMessage, TripMessage } from '../../daemon/alerts/message.js';
import { ascii, bytes, type Encoded, fitting, words } from './encode.js';
import { MAX_LENGTH } from './fields.js';
import { MAX_TRIP_BYTES } from './trip-messages.js';

/** An empty list or object of a frame as it stands in its JSON, and what is to be in it. */
interface Part {
  key: string;
  empty: '[]' | '{}';
  pieces: string[];
}

const subjectOf = (subject: string): string => ascii(subject, MAX_LENGTH.subject);

/**
 * A trip as JSON of at most 4 KB: sensors that were not judged, then silent ones, each from the front; `more` counts those
 * left out.
 */
export function encodeTrip(trip: TripMessage): Encoded {
  const notJudged = trip.notJudged.map(({ subject, what, who, until }) =>
    JSON.stringify({
      subject: subjectOf(subject),
      what: ascii(what, MAX_LENGTH.short),
      who: words(who, MAX_LENGTH.short),
      until,
    }),
  );
  const silent = (trip.silent ?? []).map(({ subject, seconds }) =>
    JSON.stringify({ subject: subjectOf(subject), seconds }),
  );
  const { more = 0, ...rest } = trip;
  const frame = {
    ...rest,
    ...identified(trip),
    ...(trip.hottestTire && { hottestTire: { ...trip.hottestTire, subject: subjectOf(trip.hottestTire.subject) } }),
    ...(trip.silent && { silent: [] }),
    notJudged: [],
  };
  return packed(frame, more, [
    { key: 'notJudged', empty: '[]', pieces: notJudged },
    { key: 'silent', empty: '[]', pieces: silent },
  ]);
}

/** A start check as JSON of at most 4 KB: tires from the front, then brakes; `more` counts those left out. */
export function encodeStartCheck(check: StartCheckMessage): Encoded {
  const entries = (values: Record<string, unknown>): string[] =>
    Object.entries(values).map(([subject, value]) => `${JSON.stringify(subjectOf(subject))}:${JSON.stringify(value)}`);
  const { more = 0, ...rest } = check;
  const leakTests = check.air.leakTests.map((test) => ({ ...test, circuit: subjectOf(test.circuit) }));
  const frame = {
    ...rest,
    ...identified(check),
    tires: {},
    brakes: { ...check.brakes, wheels: {} },
    air: { ...check.air, leakTests },
  };
  return packed(frame, more, [
    { key: 'tires', empty: '{}', pieces: entries(check.tires) },
    { key: 'wheels', empty: '{}', pieces: entries(check.brakes.wheels) },
  ]);
}

function identified({ config, version }: { config: string; version?: string }): { config: string; version?: string } {
  const short = (text: string): string => ascii(text, MAX_LENGTH.short);
  return version === undefined ? { config: short(config) } : { config: short(config), version: short(version) };
}

/** As many pieces of the parts, one part after the other, as 4 KB hold. */
function packed(frame: object, before: number, parts: Part[]): Encoded {
  const total = parts.reduce((sum, { pieces }) => sum + pieces.length, 0);
  let room = MAX_TRIP_BYTES - bytes(JSON.stringify({ ...frame, more: before + total }));
  let left = total;
  const taken = parts.map(({ pieces }) => {
    const fit = fitting(pieces, room);
    room = fit.taken.length < pieces.length ? 0 : fit.left;
    left -= fit.taken.length;
    return fit.taken.join(',');
  });
  let json = JSON.stringify(before + left > 0 ? { ...frame, more: before + left } : frame);
  // Inside a JSON string these letters would have their quotes escaped, so only the keys match.
  parts.forEach(({ key, empty }, i) => {
    json = json.replace(`"${key}":${empty}`, () => `"${key}":${empty[0]}${taken[i]}${empty[1]}`);
  });
  return { json, trimmed: left > 0 };
}
