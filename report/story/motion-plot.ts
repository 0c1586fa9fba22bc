import type { Plot } from '../data.js';
import { lineOf, plotOf } from './kit.js';
import type { Scene } from './picture.js';

/** What the truck did: a unit that falls silent with the engine was switched off. */
export function motionPlot(scene: Scene): Plot | null {
  const rpm = lineOf(scene.gathered, 'tractor', 'engine speed', scene, { label: 'engine speed', role: 'context' });
  const axis = rpm === null ? 0 : 1;
  const speed = lineOf(scene.gathered, 'tractor', 'speed', scene, { label: 'speed', role: 'context', axis });
  const axes: Plot['axes'] = [];
  if (rpm !== null) axes.push({ unit: 'rpm', label: 'engine speed' });
  if (speed !== null) axes.push({ unit: 'km/h', label: 'speed' });
  return plotOf(scene, { title: 'Engine and speed', axes, lines: [rpm, speed] });
}
