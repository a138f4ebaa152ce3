/**
 * The service: one process that hears deliveries over HTTP(S) and SFTP and goes on rounds when they are due. It must
 * never store what did not come whole, nor carry out a run that changes a device.
 */
export type { ServiceEvent } from './events.ts';
export type { Certificate } from './http.ts';
export { type Service, type ServiceOptions, startService } from './service.ts';
