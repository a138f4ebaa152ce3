import { Field } from './fields.ts';

const { inInterface, outInterface, source, destination, protocol, sourcePort, service, state } = Field;

/**
 * Orders in which a sweep may fix the fields. None is best for all policies, so they race. The protocol always stands
 * before ports, which mean nothing without it; named conditions come last.
 */
const ORDERS: readonly (readonly number[])[] = [
  [protocol, service, destination, source, inInterface, outInterface, state, sourcePort],
  [inInterface, outInterface, source, destination, state, protocol, service, sourcePort],
  [destination, source, protocol, service, inInterface, outInterface, state, sourcePort],
  [source, destination, protocol, service, inInterface, outInterface, state, sourcePort],
];

/** The orders that differ for these fields. */
export function ordersOf(fields: readonly number[]): number[][] {
  const conditions = fields.filter((f) => f >= Field.firstCondition);
  const orders = ORDERS.map((order) => [...order.filter((f) => fields.includes(f)), ...conditions]);
  const known = new Set<string>();
  return orders.filter((order) => {
    const text = order.join();
    const isNew = !known.has(text);
    known.add(text);
    return isNew;
  });
}
