import { spawn } from 'node:child_process';
import { closeSync, openSync, readdirSync, writeSync } from 'node:fs';
import { ReadStream } from 'node:tty';
import { run, type Scene, until } from './scene.js';

/** One end is the adapter's plug, the other the kernel's serial line. */
const [PLUG, LINE] = ['/dev/ptya0', '/dev/ttya0'];

const interfaces = (): string[] => readdirSync('/sys/class/net');

/**
 * A CAN controller that the kernel drives as it drives a real one, with modes, states and error frames: an adapter on a
 * serial line, whose part we play. What goes over the line is the protocol of the kernel's driver slcan (drivers/net/can/
 * slcan): `L` opens listen-only, `O` opens to take part, `T…` is a frame to be sent, and the same from the adapter a frame
 * that came.
 */
export class SerialController {
  readonly name: string;
  /** Every command that the kernel gave to the adapter. */
  readonly commands: string[];
  readonly #plug: number;

  private constructor(name: string, commands: string[], plug: number) {
    this.name = name;
    this.commands = commands;
    this.#plug = plug;
  }

  static async attach(scene: Scene): Promise<SerialController> {
    const plug = openSync(PLUG, 'r+');
    // Kept open, so that its settings stay.
    const line = openSync(LINE, 'r+');
    await run('stty', '-F', LINE, 'raw', '-echo');
    const commands: string[] = [];
    let rest = '';
    const reader = new ReadStream(plug);
    reader.on('error', () => {});
    reader.on('data', (text) => {
      const parts = (rest + text.toString('latin1')).split('\r');
      rest = parts.pop()!;
      commands.push(...parts);
    });
    const before = interfaces();
    const attached = spawn('slcan_attach', ['-w', LINE], { stdio: ['pipe', 'ignore', 'ignore'] });
    scene.atEnd(async () => {
      attached.kill();
      closeSync(line);
      reader.destroy();
    });
    const name = await until(() => interfaces().find((one) => !before.includes(one)));
    return new SerialController(name, commands, plug);
  }

  /** What comes from the adapter: `T18FECA00…` a frame, `sp000135` error-passive, `sb000000` bus-off. */
  says(...words: string[]): void {
    for (const word of words) writeSync(this.#plug, `${word}\r`);
  }

  /** Frames that the kernel told the adapter to send. */
  get sent(): string[] {
    return this.commands.filter((command) => /^[tTrRdDbB]/.test(command));
  }
}
