import type { TruckConfig } from '../../config/resolved.js';
import type { RunInfo } from '../../daemon/alerts/numbered.js';
import type { RareInput } from '../../daemon/input.js';
import type { StreamMs } from '../../daemon/time.js';

export interface RecorderOptions {
  /** Folder of the recordings; made where it is missing. */
  path: string;
  /** Everything in the folder that the recorder wrote, sidecars included. */
  maxBytes: number;
  /** Wall time of stream time 0: what stamps are made with, for as long as the run lasts. The session must begin with the same. */
  run: RunInfo;
  /** Counts the program's starts; part of the names. */
  boot: number;
  /** In force now; a `reload` replaces it. */
  config: TruckConfig;
  /** Of this program. */
  version: string;
  /** By number of the bus: the names that stand in the recording. */
  interfaces: readonly string[];
  /** One line for people; told once for as long as the same trouble lasts. */
  log: (level: 'info' | 'warn', line: string) => void;
  /** Length of a segment in stream time. Default: 5 min. */
  segmentMs?: number;
}

export interface RecorderHealth {
  /** waiting: no frame yet, or none for a while. failed: the disk does not take it; tried again after a minute. */
  state: 'recording' | 'waiting' | 'failed';
  /** On disk, sidecars included, segments of earlier runs too. */
  bytes: number;
  segments: number;
  /** Of them, kept longer because an alert changed in or beside them. */
  pinned: number;
  /** Text that waits for the disk. */
  waitingBytes: number;
  /** Frames that were not recorded: the disk was too slow or refused. */
  droppedFrames: number;
  /** Answers, reloads and clocks that were not recorded, for the same reason. */
  droppedInputs: number;
  /** How often the disk refused. */
  failures: number;
  /** What it said last; null while nothing is wrong. */
  lastError: string | null;
}

/**
 * Takes what goes into the pipeline and writes it down. Nothing here throws, blocks or waits; the disk is served behind it.
 * Calls come in the order in which the pipeline is served: inputs at t after all ticks before them.
 */
export interface Recorder {
  /**
   * A frame of interest, before the pipeline gets it and after the ticks up to t.
   * @param state the pipeline's whole state at t as JSON; asked for only where a segment begins with this frame
   */
  frame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number, state: () => string): void;
  /** The same for a CAN error frame; `id` has its class bits, with or without SocketCAN's flag. */
  errorFrame(t: StreamMs, bus: number, id: number, data: Uint8Array, length: number, state: () => string): void;
  /** Tick t was decided. */
  tick(t: StreamMs): void;
  /**
   * An answer, a reload or a clock, before the pipeline gets it.
   * @param state as with a frame: at the input's t, without it
   */
  rare(input: RareInput, state: () => string): void;
  /** An alert changed at t: the segment around it, the one before and the one after are kept longer. */
  pin(t: StreamMs): void;
  /** The bus is quiet and power may go: everything to disk as soon as the disk takes it. */
  flush(): void;
  /** The wall clock of this run is better known. Stamps go on as they began. */
  setRun(run: RunInfo): void;
  health(): RecorderHealth;
  /** Everything that came so far is on disk or was refused, but for text of the last seconds. Waits as long as the disk takes. */
  settled(): Promise<void>;
  /** Everything up to lastTick is on disk, or the disk refused it. Nothing may come afterwards. */
  close(lastTick: StreamMs): Promise<void>;
}
