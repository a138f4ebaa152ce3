/** The part of the S3-compatible server that the tests use; the package comes without types. */
declare module 's3rver' {
  export default class S3rver {
    constructor(options: {
      port: number;
      address: string;
      silent: boolean;
      directory: string;
      configureBuckets: { name: string; configs: string[] }[];
    });
    run(): Promise<{ port: number }>;
    close(): Promise<void>;
  }
}
