import { randomBytes } from 'node:crypto';
import { HostClock } from '../../adapters/clock/host-clock.js';
import { HostSync, TRUSTED } from '../../adapters/clock/sync-source.js';
import { parseBrokerUrl } from '../../adapters/mqtt/broker-url.js';
import { CredentialsError, readCredentials } from '../../adapters/mqtt/credentials.js';
import { encodeEvent } from '../../adapters/mqtt/encode.js';
import { type ProbeOptions, type ProbeStep, type ProbeStepName, probeBroker } from '../../adapters/mqtt/probe.js';
import { LIVE_ROOT, topicOf } from '../../adapters/mqtt/topics.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { EventDraft } from '../alerts/event.js';
import type { RunInfo } from '../alerts/numbered.js';
import { eventMessage } from '../alerts/rendering.js';
import type { Out } from './console.js';
import { VERSION } from './version.js';
import { Volatile } from './volatile.js';

export interface SendTestOptions {
  /** Limit of each step. Default: that of the probe. */
  stepMs?: number;
}

/** What each step tries, in words of one width. */
const STEP_WORDS: Record<ProbeStepName, string> = {
  resolve: 'name       ',
  tcp: 'port       ',
  tls: 'encryption ',
  connect: 'broker     ',
  subscribe: 'may read   ',
  puback: 'event sent ',
  echo: 'came back  ',
};

/**
 * Sends an event of rule `test-message`, raised and cleared, to where the truck's events go, and tells each step of the way
 * with its time. It takes no number of the truck's store, and nothing stays open. Gives whether the broker took both.
 */
export async function sendTest(
  config: TruckConfig,
  out: Out,
  err: Out,
  options: SendTestOptions = {},
): Promise<boolean> {
  const stopped = (line: string): false => {
    err.write(`${line}\n`);
    return false;
  };
  const { mqtt, fleet, truck } = config;
  if (mqtt === null)
    return stopped('send-test: the truck file names no broker — add `mqtt: {url: "mqtts://HOST:8883"}`');
  const { address, error } = parseBrokerUrl(mqtt.url);
  if (address === null) return stopped(`send-test: ${error}`);
  let client: ProbeOptions['client'];
  try {
    client = readCredentials(mqtt, (line) => err.write(`note: ${line}\n`));
  } catch (cause) {
    if (cause instanceof CredentialsError) return stopped(`send-test: ${cause.message}`);
    throw cause;
  }
  const run = await runNow(config);
  const [raised, cleared] = testEvents(config, run);
  // The daemon may run meanwhile: two with one id put each other out.
  const clientId = `axlepost-${fleet}-${truck}-test-${randomBytes(3).toString('hex')}`;
  const way = { address, client, clientId, topic: topicOf(LIVE_ROOT, fleet, truck, 'event'), ...options };
  const tell = (step: ProbeStep): unknown => out.write(`  ${stepLine(step)}\n`);
  out.write(`test message of ${truck} to ${address.printable}\n`);
  const clockSynced = (): boolean => run.synced;
  const steps = await probeBroker({ ...way, clockSynced, payload: raised, onStep: tell });
  const tried = steps.some(({ name }) => name === 'puback');
  // What was sent may have arrived though nobody said so.
  const ended = tried && took(await probeBroker({ ...way, clockSynced, payload: cleared }));
  const good = verdict(steps, ended, out, err);
  if (good && mqtt.confirm === 'office') out.write(NEEDS_OFFICE);
  return good;
}

/** A broker is enough for the test message, and not for events. */
const NEEDS_OFFICE =
  'Events leave the truck when an office confirms their numbers; where there is none, write `confirm: broker` under mqtt.\n';

const took = (steps: readonly ProbeStep[]): boolean => steps.some(({ name, ok }) => name === 'puback' && ok);

const stepLine = ({ name, ok, ms, line }: ProbeStep): string =>
  `${STEP_WORDS[name]} ${String(ms).padStart(6)} ms  ${ok ? line : `NOT: ${line}`}`;

function verdict(steps: readonly ProbeStep[], ended: boolean, out: Out, err: Out): boolean {
  const echo = steps.find(({ name }) => name === 'echo');
  if (!took(steps) || echo?.ok === false) {
    err.write(`send-test: stopped at "${STEP_WORDS[steps.at(-1)!.name].trim()}": ${steps.at(-1)!.line}\n`);
    return false;
  }
  if (!ended) {
    err.write('send-test: sent, but not its end: close the test message at the office\n');
    return false;
  }
  out.write(
    echo === undefined
      ? 'The broker took it. This user may not read its own events, so that the way back was not tried.\n'
      : 'The broker took it and gave it back.\n',
  );
  out.write('Whether the office has seen it shows there only: a test message, raised and cleared.\n');
  return true;
}

async function runNow({ clock }: TruckConfig): Promise<RunInfo> {
  if (clock.trust) return new HostClock({ sync: TRUSTED }).run;
  const sync = new HostSync();
  await sync.start();
  sync.close();
  return new HostClock({ sync }).run;
}

/** Both under one volatile store id, as JSON: the truck's own numbers have no hole and no test in them. */
function testEvents(config: TruckConfig, run: RunInfo): [raised: string, cleared: string] {
  const { fleet, truck, hash, units } = config;
  const t = Math.max(0, Date.now() - run.zeroWallMs);
  const draft = (change: EventDraft['change'], was: EventDraft['was']): EventDraft => ({
    t,
    alert: 1,
    cause: null,
    rule: 'test-message',
    kind: 'system',
    subject: units[0]!.unit,
    place: `test from ${truck}`,
    change,
    reason: null,
    urgency: 'plan',
    was,
    sinceAgoMs: 0,
    trailer: units.find(({ id }) => id !== null)?.id ?? null,
    measured: null,
    evidence: null,
    forecast: null,
    advice: 'Nothing to do: somebody tries the way from the truck to the office.',
    basis: 'sent on request',
    vehicle: { speed: null, lat: null, lon: null, ageS: null },
  });
  const drafts = [draft('raised', null), draft('cleared', 'plan')];
  const numbered = new Volatile(truck).number(drafts, run, { config: hash, version: VERSION });
  const context = { fleet, truck, config: hash, now: run.zeroWallMs + t };
  const [raised, cleared] = numbered.map((event) => encodeEvent(eventMessage(event, context)).json);
  return [raised!, cleared!];
}
