import type { MqttClient } from 'mqtt';

/** Told to the broker: four times the longest message, so that one that is too long still comes and is counted. */
export const MAX_PACKET_BYTES = 65_536;
/** Bytes that are no whole packet yet; the client would wait for 256 MB of one. Chunks of the socket are some 64 KB. */
const MAX_UNPARSED_BYTES = 4 * MAX_PACKET_BYTES;

/** Calls back when the broker sends a packet that does not end. */
export function boundInput(client: MqttClient, endless: () => void): void {
  let unparsed = 0;
  client.on('packetreceive', () => {
    unparsed = 0;
  });
  client.stream.on('data', (chunk: Uint8Array) => {
    unparsed += chunk.length;
    if (unparsed > MAX_UNPARSED_BYTES) endless();
  });
}

/** What CONNECT of MQTT 5 says of how much may come, and for how long what comes for us is kept while we are away. */
export const limitsFor = (receiveMaximum: number | undefined, sessionS: number | undefined) => ({
  maximumPacketSize: MAX_PACKET_BYTES,
  ...(receiveMaximum !== undefined && { receiveMaximum }),
  ...(sessionS !== undefined && { sessionExpiryInterval: sessionS }),
});
