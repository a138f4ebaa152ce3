/** The house's import rules: everything runs down, rooms are entered by their front door, no cycles. */
const rooms = (names) => names.map((n) => `^src/${n}/`);
const TEST = '\\.(test|reference)\\.ts$|^test/|^bench/';

/** Which rooms a room may import from, besides itself. */
const may = {
  core: [],
  document: ['core'],
  dialects: ['core', 'document'],
  links: ['core', 'document'],
  archive: ['core'],
  store: ['core'],
  practice: ['core'],
  rehearsal: ['archive', 'dialects', 'core'],
  runs: ['links', 'archive', 'store', 'dialects', 'document', 'core'],
  server: ['runs', 'links', 'archive', 'store', 'dialects', 'core'],
  cli: [
    'document',
    'server',
    'rehearsal',
    'runs',
    'links',
    'archive',
    'store',
    'dialects',
    'core',
    'practice',
  ],
};

module.exports = {
  forbidden: [
    { name: 'no-cycles', severity: 'error', from: {}, to: { circular: true } },
    { name: 'resolvable', severity: 'error', from: {}, to: { couldNotResolve: true } },
    {
      name: 'core-touches-nothing',
      comment: 'core has no Node imports and no packages',
      severity: 'error',
      from: { path: '^src/core/', pathNot: TEST },
      to: { dependencyTypes: ['core', 'npm', 'npm-dev', 'npm-optional', 'npm-peer'] },
    },
    {
      name: 'core-front-doors',
      comment: 'a room of core is entered by its index, never by a path into it',
      severity: 'error',
      from: { path: '^src/core/([^/]+)/', pathNot: TEST },
      to: { path: '^src/core/[^/]+/', pathNot: ['^src/core/$1/', '^src/core/[^/]+/index\\.ts$'] },
    },
    {
      name: 'front-doors',
      comment: 'a room is entered by its index, never by a path into it',
      severity: 'error',
      from: { path: '^(?:src/([^/]+)|lab|bench|test)/', pathNot: '^src/core/' },
      to: {
        path: '^src/',
        pathNot: [
          '^src/$1/',
          '^src/[^/]+/index\\.ts$',
          '^src/(core|dialects|links|server)/[^/]+/index\\.ts$',
          // Published texts and the like, kept for tests.
          '\\.reference\\.ts$',
        ],
      },
    },
    {
      name: 'no-dev-packages',
      severity: 'error',
      from: { path: '^src/', pathNot: TEST },
      to: { dependencyTypes: ['npm-dev', 'npm-no-pkg', 'npm-unknown'] },
    },
    {
      name: 'nobody-imports-main',
      severity: 'error',
      from: { path: '^src/', pathNot: '^src/main/' },
      to: { path: '^src/main/' },
    },
    ...Object.entries(may).map(([room, allowed]) => ({
      name: `${room}-imports-down`,
      severity: 'error',
      from: { path: `^src/${room}/`, pathNot: TEST },
      to: { path: '^src/', pathNot: rooms([room, ...allowed]) },
    })),
  ],
  options: {
    doNotFollow: { path: 'node_modules' },
    tsConfig: { fileName: 'tsconfig.json' },
    tsPreCompilationDeps: true,
    enhancedResolveOptions: {
      conditionNames: ['import', 'node', 'default', 'types'],
      extensions: ['.ts', '.js', '.cjs'],
    },
  },
};
