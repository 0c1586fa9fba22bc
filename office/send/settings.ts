import type { MailChannel, WebhookChannel } from '../../config/office-resolved.js';

/** Channels as they are used: secrets have been read, ca is PEM text. */
export type WebhookSettings = Omit<WebhookChannel, 'secret'> & { secret: string };
export type MailSettings = Omit<MailChannel, 'password'> & { password: string | null };
