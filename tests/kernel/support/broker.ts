import { spawn } from 'node:child_process';
import { connect } from 'node:net';
import mqtt from 'mqtt';
import { type Scene, until } from './scene.js';

export const PORT = 1883;
export const URL_OF_BROKER = `mqtt://127.0.0.1:${PORT}`;

export interface Message {
  /** Last level of the topic. */
  name: string;
  json: Record<string, unknown>;
}

/** mosquitto in a process of its own, and an office that keeps all that comes. */
export async function startBroker(scene: Scene): Promise<Message[]> {
  const file = scene.write('mosquitto.conf', `listener ${PORT} 127.0.0.1\nallow_anonymous true\npersistence false\n`);
  const child = spawn('mosquitto', ['-c', file], { stdio: 'ignore' });
  scene.atEnd(async () => void child.kill('SIGKILL'));
  let reached = false;
  const reach = (): void => {
    const socket = connect(PORT, '127.0.0.1', () => {
      reached = true;
      socket.destroy();
    });
    socket.on('error', () => setTimeout(reach, 50));
  };
  reach();
  await until(() => reached);
  const client = await mqtt.connectAsync(URL_OF_BROKER, { protocolVersion: 5, clean: true });
  scene.atEnd(() => client.endAsync(true));
  const messages: Message[] = [];
  client.on('message', (topic, payload) => {
    if (payload.length > 0) messages.push({ name: topic.split('/').at(-1)!, json: JSON.parse(payload.toString()) });
  });
  await client.subscribeAsync('axlepost/1/#', { qos: 1 });
  return messages;
}
