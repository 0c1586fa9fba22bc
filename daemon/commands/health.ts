export type { BusHealth, ClockHealth, Health, LogHealth, LoopHealth, StoreHealth } from '../../adapters/host/health.js';
