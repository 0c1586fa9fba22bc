// A bare listener to compare with: opens an interface with the package, filters nothing, counts frames.
// Prints "listening", and the count when it is told to end.
import { createRawChannel } from 'socketcan';

const channel = createRawChannel(process.argv[2], false);
let frames = 0;
channel.addListener('onMessage', () => frames++);
channel.start();
console.log('listening');
process.once('SIGTERM', () => {
  console.log(frames);
  process.exit();
});
