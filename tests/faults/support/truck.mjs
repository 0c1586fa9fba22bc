/*
 * The real program on a truck, as a process of its own: what `dist` holds, but for the CAN socket and a clock that runs `speed`
 * times as fast. What is on the bus is a function of the time alone, so that whoever starts later finds what is there then.
 * argv[2]: JSON, see trucks.ts. Says "ready" once, and ends on SIGTERM.
 */
import { writeSync } from 'node:fs';
import { pino } from 'pino';

const { speed, realStartMs, wallStartMs, restS, config: text, log } = JSON.parse(process.argv[2]);
const { now: dateNow } = Date;
const monotonic = performance.now.bind(performance);
Date.now = () => Math.floor(wallStartMs + (dateNow() - realStartMs) * speed);
performance.now = () => monotonic() * speed;

const { readTruckFile } = await import('../../../dist/config/load.js');
const { startDaemon } = await import('../../../dist/daemon/commands/run.js');

const EEC1 = 0x0cf00400;
const DM1 = 0x18feca00;
const RUNNING = Buffer.from('F07D7D401F00FFFF', 'hex');
const SAY_EVERY_MS = 10;
/** Of stream time: each code is there for half of it. */
const CYCLE_S = 24;
const CHANGING = 4;
const LASTING_SOURCE = 0x30;
/** Pressure, temperature and sensor of tires: codes that are judged. */
const CHANGING_SPN = 7113;
/** Of one source, in turn. More than 64 codes in all would not be watched; the same one too often would be chattering. */
const CODES = 10;
const LASTING_SPN = 7153;
const LAST_SPN = 7273;

const dm1 = ([spn, fmi]) => Buffer.from([0, 0xff, spn & 0xff, spn >> 8, fmi, spn === 0 ? 0 : 1, 0xff, 0xff]);

/** The code that this source tells at this wall time; [0, 0]: none. */
function codeOf(source, wallMs) {
  if (wallMs >= wallStartMs + restS * 1000) return source % 2 === 0 ? [LAST_SPN + source, 5] : [0, 0];
  const s = wallMs / 1000 + source * (CYCLE_S / CHANGING);
  const cycle = Math.floor(s / CYCLE_S);
  if (s % CYCLE_S >= CYCLE_S / 2) return [0, 0];
  return [CHANGING_SPN + source * CODES + (cycle % CODES), 4];
}

async function openBus(_name, _filters, onFrame) {
  const timer = setInterval(() => {
    const wallMs = Date.now();
    onFrame(EEC1, RUNNING, false);
    onFrame(DM1 | LASTING_SOURCE, dm1([LASTING_SPN, 5]), false);
    for (let source = 0; source < CHANGING; source++) onFrame(DM1 | (0x40 + source), dm1(codeOf(source, wallMs)), false);
  }, SAY_EVERY_MS);
  return { received: 0, close: () => clearInterval(timer) };
}

const { config, problems } = readTruckFile(text, 'truck.yaml');
if (config === undefined) throw new Error(JSON.stringify(problems));
const edges = { openBus, modeOf: async () => ({ kind: 'virtual', up: true }), log: pino({ level: log ?? 'silent' }) };
const daemon = await startDaemon(config, edges);
process.on('SIGTERM', () => void daemon.stop().then(() => process.exit(0)));
const { user, system } = process.cpuUsage();
writeSync(1, `ready ${Math.round(monotonic())} ${Math.round((user + system) / 1000)}\n`);
