import type { SIGNALS_NAMED } from './fault-schema.js';

const STROKES = Array.from({ length: 20 }, (_, field) => 3785 + field);

/** What is not sent any more when a signal is missing, by the name that scenario files use. */
export const SIGNAL_SPNS: Record<(typeof SIGNALS_NAMED)[number], readonly number[]> = {
  barometer: [108],
  ambient: [171, 172],
  speed: [84],
  'engine-speed': [190],
  'application-pressure': [116, 8484],
  pedal: [521],
  'brake-switch': [597, 1121],
  'parking-brake': [70, 619],
  compressor: [1351],
  'service-pressure': [117, 118, 1087, 1088],
  'tire-temperature': [242],
  'stroke-status': STROKES,
};
