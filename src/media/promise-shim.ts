/**
 * `Promise.withResolvers` for Node 20, which node-av expects. A module of its own because it must be evaluated before
 * node-av is: an importer lists it first, and ES modules are evaluated in the order they are imported.
 */
type Resolvers = { promise: Promise<unknown>; resolve: (value: unknown) => void; reject: (reason?: unknown) => void };
const target = Promise as unknown as { withResolvers?: () => Resolvers };

target.withResolvers ??= function withResolvers(): Resolvers {
  let resolve!: (value: unknown) => void;
  let reject!: (reason?: unknown) => void;
  const promise = new Promise<unknown>((yes, no) => {
    resolve = yes;
    reject = no;
  });
  return { promise, resolve, reject };
};

export {};
