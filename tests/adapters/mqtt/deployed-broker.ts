import type { ChildProcess } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { expect } from 'vitest';
import { Authority } from './authority.js';
import { folder, freePort, passwordFile, startMosquitto } from './mosquitto.js';

const FOLDER = 'config/deploy/broker';
export const PASSWORDS = { 'northline/T-1042': 'one', 'northline/T-208': 'two', office: 'three' };

export interface DeployedBroker {
  authority: Authority;
  port: number;
  /** mqtts://127.0.0.1:… */
  url: string;
  process: ChildProcess;
}

/** mosquitto with the files of config/deploy/broker as they are, but for where certificates and passwords lie. Needs openssl. */
export async function startDeployedBroker({ byCertificate = false } = {}): Promise<DeployedBroker> {
  const directory = folder();
  const authority = new Authority(directory, 'fleet');
  const server = authority.sign('broker', 'IP:127.0.0.1');
  const port = await freePort();
  const places: Record<string, string> = {
    'listener 8883': `listener ${port} 127.0.0.1`,
    '/etc/mosquitto/axlepost.passwords': passwordFile(directory, PASSWORDS),
    '/etc/mosquitto/axlepost.acl': `${directory}/acl`,
    '/etc/mosquitto/certs/authority.pem': authority.ca,
    '/etc/mosquitto/certs/broker.pem': server.cert,
    '/etc/mosquitto/certs/broker-key.pem': server.key,
    'persistence true': '',
    ...(byCertificate && { '#require': 'require', '#use_identity': 'use_identity' }),
  };
  let conf = readFileSync(`${FOLDER}/axlepost.conf`, 'utf8');
  for (const [from, to] of Object.entries(places)) {
    expect(conf).toContain(from);
    conf = conf.replace(from, to);
  }
  writeFileSync(`${directory}/acl`, readFileSync(`${FOLDER}/axlepost.acl`), { mode: 0o600 });
  const process = await startMosquitto(directory, conf.split('\n'));
  return { authority, port, url: `mqtts://127.0.0.1:${port}`, process };
}
