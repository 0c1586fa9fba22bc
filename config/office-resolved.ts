import type { BrokerConfig, SecretPlace, TruckConfig, Urgency } from './resolved.js';

/** The office file, resolved: defaults are in, times are ms, secrets are still where they stand. Plain data. */
export interface OfficeConfig {
  /** `confirm` says nothing here: it is the office that confirms. */
  broker: BrokerConfig;
  /** Name of the shared subscription that instances with one store have in common. */
  shared: string | null;
  store: { keepMs: number } & ({ kind: 'sqlite'; path: string } | { kind: 'postgres'; url: SecretPlace });
  board: OfficeBoard;
  /** By name. Empty: every fleet of the broker is served, all by `otherFleets`. */
  fleets: Readonly<Record<string, OfficeFleet>>;
  /** Of every fleet that is served and not named. */
  otherFleets: OfficeFleet;
  webhooks: readonly WebhookChannel[];
  mail: readonly MailChannel[];
}

export interface OfficeBoard {
  listen: { kind: 'tcp'; host: string; port: number } | { kind: 'unix'; path: string };
  /** `https://host` as a browser's Origin header has it; null: that of `listen`. */
  origin: string | null;
  /** X-Forwarded-For has the caller's address at its end. */
  forwardedFor: boolean;
  signIn: { kind: 'accounts' } | { kind: 'proxy'; userHeader: string; secret: SecretPlace };
}

/** What the office's core wants to know of a fleet. */
export interface OfficeFleet {
  untakenMs: Record<Urgency, number | null>;
  channels: { name: string; urgencies: Urgency[] }[];
  /** days: 0 Sunday … 6. */
  expected: { truck: string; days: number[]; byMinute: number }[];
  timeZone: string;
  position: 'exact' | 'rounded' | 'none';
  /** Units for people. */
  show: Pick<TruckConfig['show'], 'pressure' | 'temperature'>;
}

export interface WebhookChannel {
  name: string;
  url: string;
  secret: SecretPlace;
  /** PEM file of authorities to trust instead of the usual ones. */
  ca: string | null;
}

export interface MailChannel {
  name: string;
  /** isTls: from the first byte; else it begins plainly and must change over, but for a server on this computer. */
  server: { host: string; port: number; isTls: boolean; isLoopback: boolean };
  user: string | null;
  password: SecretPlace | null;
  from: string;
  to: string[];
  ca: string | null;
}

/** What is in force for one fleet. */
export const fleetRules = (config: OfficeConfig, fleet: string): OfficeFleet =>
  Object.hasOwn(config.fleets, fleet) ? config.fleets[fleet]! : config.otherFleets;

/** For subscriptions: the fleets that are named, else all. */
export function fleetFilters(config: OfficeConfig): string[] {
  const named = Object.keys(config.fleets);
  return named.length === 0 ? ['+'] : named;
}
