import { type Json, withUnits } from './json-forms.js';
import { type Dimension, unitsOf } from './quantities.js';

/** What an editor shows beside the entries of a truck file, and what only the loader's own code knows of them. */
export interface Told {
  text: string;
  /** Takes the place of what zod has: a plain text there, which other code reads. */
  instead?: Json;
  /** Joins what zod has. */
  also?: Json;
}

const units = (...dimensions: Dimension[]): Json => withUnits([...new Set(dimensions.flatMap(unitsOf))]);

const UNIT = '(tractor|trailer|trailer-2|dolly)';
const TIRE = `${UNIT}/\\d+/(left|right)/(single|outer|inner)`;
const SUBJECT = `^(${UNIT}/\\d+/(left|right)(/(single|outer|inner))?|air/(service|supply|primary|secondary|parking))$`;

/** By path; `*` is any key or any entry of a list. Below `layout`, `*` is any unit. */
export const TOLD: Readonly<Record<string, Told>> = {
  from: {
    text: 'Files that this truck file builds on, the most general first: fleet file, truck-type file. Paths start at the folder of this file. What this file says is stronger; maps merge, lists and values replace; `none` takes a section out.',
  },
  fleet: { text: 'Name of the fleet, part of MQTT topics: letters, digits, "_" and "-", at most 32.' },
  truck: { text: 'Name of the truck, part of MQTT topics and alert ids: letters, digits, "_" and "-", at most 32.' },
  vehicle: { text: 'A truck, or a bus.' },
  buses: { text: 'One entry per CAN interface that is listened to.' },
  'buses.*.name': { text: 'Alerts call the bus by this name, so that it can move to another interface.' },
  'buses.*.interface': { text: 'The network interface, for example can0.' },
  'buses.*.acknowledge': {
    text: 'yes: the controller may acknowledge frames, that is, it need not be in listen-only mode. Every survey and presence says so.',
  },
  layout: { text: 'Units front to rear, the tractor first. A truck that tows nothing is all tractor.' },
  'layout.tractor': { text: 'The powered vehicle, also a straight truck or a bus.' },
  'layout.trailer': { text: 'The (first) trailer.' },
  'layout.dolly': { text: 'A dolly, listed before the trailer that it carries.' },
  'layout.trailer-2': { text: 'The second trailer.' },
  'layout.*.id': { text: 'The number painted on it.' },
  'layout.*.axles': { text: 'Front to rear.' },
  'layout.*.axles.*.name': { text: 'What people call it.' },
  'layout.*.axles.*.kind': { text: 'What the axle does.' },
  'layout.*.axles.*.tires': { text: 'One tire at each end, or two.' },
  'layout.*.axles.*.coldPressure': {
    text: 'What the gauge should show at coldReference, with its unit: kPa, psi or bar.',
  },
  'layout.*.axles.*.chamber': { text: 'The brake chamber, as stamped on it.' },
  'layout.*.axles.*.chamber.type': { text: 'For example 30. Letters mean different things to different makers.' },
  'layout.*.axles.*.chamber.ratedStroke': {
    text: 'Decides the stroke limit; with its unit: mm, in or cm. Leave it out when the tag is gone: the shorter limit is taken.',
  },
  tirePositions: {
    text: 'Only where a sender numbers tires differently: bus/source address, then location byte and tire.',
  },
  'tirePositions.*': {
    text: 'Location byte in hexadecimal, axle then position, and the tire that it means.',
    // An editor may read the key 0x10 as the number 16.
    also: { propertyNames: { pattern: '^\\s*(0[xX][0-9a-fA-F]{1,2}|\\d{1,3})\\s*$' } },
  },
  'tirePositions.*.*': {
    text: 'A tire of the layout, for example tractor/2/left/outer.',
    instead: { type: 'string', pattern: `^${TIRE}$` },
  },
  gauge: { text: 'Senders of tire pressure that report absolute pressure less a constant: bus/source address.' },
  'gauge.*': { text: 'fixed: the same constant at every altitude.' },
  signals: { text: 'Signals in proprietary groups.' },
  'signals.*.bus': { text: 'Name of the bus; any when left out.' },
  'signals.*.pgn': { text: 'Parameter group number, decimal or hexadecimal.' },
  'signals.*.source': { text: 'Source address in decimal; any when left out.' },
  'signals.*.byte': { text: 'First byte, counted from 1.' },
  'signals.*.bit': { text: 'First bit of that byte, counted from 1.' },
  'signals.*.length': { text: 'In bits.' },
  'signals.*.scale': {
    text: 'What one bit is worth, with its unit: "0.5 mm", "4 kPa", "1 °C".',
    instead: units('length', 'pressure', 'temperature', 'temperatureDifference'),
  },
  'signals.*.offset': {
    text: 'What zero stands for, with its unit. A temperature needs one.',
    instead: units('length', 'pressure', 'temperature'),
  },
  'signals.*.quantity': { text: 'What is measured.' },
  'signals.*.subject': {
    text: 'A wheel end (tractor/2/left), a tire (tractor/2/left/outer) or an air circuit (air/primary).',
    instead: { type: 'string', pattern: SUBJECT },
  },
  coldReference: { text: 'Temperature at which coldPressure is meant; °C or °F.' },
  depotAltitude: { text: 'Where tires are filled; m or ft.' },
  show: { text: 'Units for people. Messages and files stay SI.' },
  'show.pressure': { text: 'Unit of pressures. With psi, strokes are shown in inches.' },
  'show.temperature': { text: 'Unit of temperatures.' },
  'show.position': { text: 'How exactly the place of the vehicle is stored, recorded and told.' },
  rules: { text: 'Only what differs from the defaults.' },
  mqtt: { text: 'The broker that the fleet office listens to.' },
  'mqtt.url': {
    text: 'mqtt, mqtts, ws or wss. No user and no password in it: see user and password.',
    instead: { type: 'string', maxLength: 256, pattern: '^\\s*([mM][qQ][tT][tT][sS]?|[wW][sS][sS]?):[^@]+$' },
  },
  'mqtt.confirm': { text: 'Who confirms an event before it leaves the outbox; broker where there is no office.' },
  'mqtt.unencrypted': {
    text: 'Allows mqtt:// and ws:// to a broker on another machine: anybody on the way can read and forge.',
  },
  'mqtt.user': { text: 'Name of the user at the broker.' },
  'mqtt.password': {
    text: 'Where the password is; never the password itself.',
    also: { minProperties: 1, maxProperties: 1 },
  },
  'mqtt.password.file': { text: 'A file that holds the password and nothing else.' },
  'mqtt.password.env': { text: 'An environment variable that holds the password.' },
  'mqtt.ca': { text: 'PEM file of the authorities to trust. For mqtts and wss.' },
  'mqtt.cert': { text: 'PEM file of our own certificate; needs key.' },
  'mqtt.key': { text: 'PEM file of the key of cert.' },
  store: { text: 'History and outbox on disk.' },
  'store.path': { text: 'SQLite file.' },
  'store.maxSize': { text: 'Upper limit of its size: kB, MB, GB.' },
  'store.keep': { text: 'How long history is kept: d or h.' },
  recorder: { text: 'Recordings of the bus.' },
  'recorder.path': { text: 'Folder.' },
  'recorder.maxSize': { text: 'Upper limit of all recordings together: kB, MB, GB.' },
  health: { text: 'The local page with health and metrics, on loopback. Off when left out.' },
  'health.port': { text: 'TCP port, for example 9471.' },
  clock: { text: 'What the clock of this computer is worth.' },
  'clock.trust': {
    text: 'yes: it counts as right without a word of the service that sets it. For computers with a battery clock.',
  },
};

export const toldOf = (path: string): Told | undefined =>
  TOLD[path] ?? TOLD[path.replace(/^layout\.(?:tractor|trailer|dolly|trailer-2)\./, 'layout.*.')];

export const TOLD_OF_RULES = {
  enabled: 'Whether the rule is judged.',
  levels: 'By urgency: plan (next service), next-stop (next safe stop), pull-over (as soon as it is safe).',
  also: 'Further ways to a level.',
  constants: 'Other numbers of the rule, in the unit that their names end with.',
  raise: 'The level begins at this value.',
  clear: 'It ends at this value: on the good side of raise, with room between.',
  raiseAfter: 'How long the evidence must last.',
  clearAfter: 'How long it must have been good again.',
  of: 'How many of the last applications or readings must show it.',
  basis: 'Who says so; told with each alert.',
} as const;
