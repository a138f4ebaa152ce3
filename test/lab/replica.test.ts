import { testReplicaIn } from '../whole/replica-in-bucket.ts';
import { objectStore } from './object-store.ts';

testReplicaIn(objectStore);
