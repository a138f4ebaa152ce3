/**
 * Reading devices by SNMP (v2c, and v3 with authentication and privacy). It must never set anything.
 */
export { type SnmpAccess, snmpAccess } from './access.ts';
export { readSnmp, type SnmpReading } from './read.ts';
