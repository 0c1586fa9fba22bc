import { isIP, type Socket } from 'node:net';
import { type ConnectionOptions as TlsOptions, connect as tlsConnect } from 'node:tls';
import mqtt, { type IClientOptions, MqttClient } from 'mqtt';
import type { BrokerAddress } from './broker-url.js';

/** What only a TLS connection uses; MQTT.js would take it for a wish to encrypt. */
const TLS_KEYS = ['ca', 'cert', 'key'] as const;

/**
 * Options for TLS over a socket that is connected. The broker's certificate is always checked, against its name in the URL and
 * against `ca` or, without one, the authorities that Node brings.
 */
export function tlsOptions(address: BrokerAddress, client: IClientOptions): TlsOptions {
  const options: TlsOptions = { rejectUnauthorized: true, minVersion: 'TLSv1.2' };
  if (isIP(address.host) === 0) options.servername = address.host;
  // Without a servername the name to be checked is `host`.
  else options.host = address.host;
  for (const key of TLS_KEYS) if (client[key] !== undefined) options[key] = client[key];
  return options;
}

/**
 * An MQTT client over a TCP socket that is connected: bare, in TLS, in a WebSocket, or both. With the socket in our hand its
 * bytes can be counted as the network sees them. Throws when the options cannot be used.
 */
export function clientOver(socket: Socket, address: BrokerAddress, options: IClientOptions): MqttClient {
  const { protocol, host, port, path } = address;
  const plain = { ...options };
  for (const key of TLS_KEYS) delete plain[key];
  const place = { ...plain, protocol, host, port, path };
  const secured = () => tlsConnect({ ...tlsOptions(address, options), socket });
  switch (protocol) {
    case 'mqtt':
      return new MqttClient(() => socket, place);
    case 'mqtts':
      return new MqttClient(secured, place);
    case 'ws':
      return mqtt.connect({ ...place, wsOptions: { createConnection: () => socket } });
    case 'wss':
      return mqtt.connect({ ...place, wsOptions: { createConnection: secured } });
  }
}

/** What stands in the URL counts where nothing else names a user. */
export function userOf({ username, password }: BrokerAddress, client: IClientOptions): IClientOptions {
  if (client.username !== undefined || client.password !== undefined) return {};
  return { ...(username !== null && { username }), ...(password !== null && { password }) };
}
