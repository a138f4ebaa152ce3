/**
 * Deliveries: devices send their own backups over HTTP. Half-received ones are never stored, delivered archives are
 * never opened. It must never answer differently for a device that exists and one that does not.
 */
export { type IntakeOptions, intakeRoutes, senderOf } from './routes.ts';
export { freshToken, tokenDigest } from './token.ts';
