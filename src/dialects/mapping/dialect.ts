import type { ConfigObject, Dialect, SourceFile, TypedConfiguration } from '#core/config';
import { applyEdits } from '#dialects/source';
import { readTree, type Stand, type TreeFormat } from '#dialects/tree';
import { ownAttributesLeft } from './entry.ts';
import { readMapping } from './mapping-file.ts';
import { attributesIn, Model } from './model.ts';
import { readObjects } from './objects.ts';
import { policyOf } from './policy.ts';
import { type ReadRule, readNat, readRules } from './rules.ts';
import type { Mapping } from './schema.ts';

interface Reading {
  readonly model: Model;
  readonly rules: readonly ReadRule[];
  readonly nat: readonly ReadRule[];
}

/**
 * The dialect that a mapping file describes.
 * @throws TuckpointError `dialects/mapping` with file and line, when the mapping file has a mistake.
 */
export function dialectFromMapping(file: SourceFile): Dialect {
  const mapping = readMapping(file);
  return {
    name: mapping.name,
    title: mapping.title ?? `as the mapping file ${file.name} says`,
    recognises({ text }) {
      const head = text.slice(0, 8192);
      if (mapping.recognise === undefined) return 0;
      return mapping.recognise.every((part) => head.includes(part)) ? 0.99 : 0;
    },
    read: (files) => read(mapping, files),
    policy(configuration) {
      const { model, rules, nat } = configuration.syntax as Reading;
      return policyOf(model, rules, nat);
    },
    write: applyEdits,
  };
}

/** Where an object of a configuration read by a mapping stands in its tree. */
export function standOf(configuration: TypedConfiguration, object: ConfigObject): Stand | undefined {
  return (configuration.syntax as Reading).model.stands.get(object);
}

function read(mapping: Mapping, files: readonly SourceFile[]): TypedConfiguration {
  const trees = files.map((file) => readTree(file, mapping.format as TreeFormat));
  const model = new Model(mapping, trees);
  readObjects(model);
  model.knowObjects();
  const rules = readRules(model);
  const nat = readNat(model);
  const named = new Set(model.opaque.map(({ place }) => `${place.start} ${place.file}`));
  const mentioned = attributesIn(mapping);
  for (const tree of trees) {
    const around = model.coverage.around(tree.root).flatMap((node) => ownAttributesLeft(node, mentioned));
    for (const part of [...around, ...model.coverage.leftBelow(tree.root)]) {
      if (!named.has(`${part.start} ${tree.source.file}`))
        model.leave(tree, part, 'The mapping says nothing of this part.', null);
    }
  }
  const syntax: Reading = { model, rules, nat };
  return { dialect: mapping.name, files, objects: model.objects, opaque: model.opaque, syntax };
}
