/* Where no other broker is installed: ours, in a process of its own. Prints its port. */
import { startEmbeddedBroker } from '../../../dist/adapters/mqtt/embedded-broker.js';

const { port } = await startEmbeddedBroker();
process.stdout.write(`${port}\n`);
