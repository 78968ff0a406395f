// Calls the server by @grpc/grpc-js with the protos as they are committed: reads, scores, streams a sheet, and gets an error's details.
import assert from 'node:assert/strict';
import { fileURLToPath } from 'node:url';
import grpc from '@grpc/grpc-js';
import loader from '@grpc/proto-loader';

const protos = fileURLToPath(new URL('../../../proto', import.meta.url));
const files = ['studio', 'glaze', 'firing', 'score', 'tile'].map((name) => `catchline/v1/${name}.proto`);
const contract = grpc.loadPackageDefinition(
  loader.loadSync(files, { includeDirs: [protos], longs: Number, enums: String, defaults: true, oneofs: true }),
).catchline.v1;

const address = process.env.CATCHLINE_GRPC;
const clients = Object.fromEntries(
  ['StudioService', 'GlazeService', 'FiringService', 'ScoreService', 'TileService'].map((name) => [
    name,
    new contract[name](address, grpc.credentials.createInsecure()),
  ]),
);

const call = (service, method, request) =>
  new Promise((resolve, reject) =>
    clients[service][method](request, { deadline: Date.now() + 20_000 }, (err, answer) => (err ? reject(err) : resolve(answer))),
  );

const parent = 'studios/demo';
const studio = await call('StudioService', 'GetStudio', { name: parent });
assert.equal(studio.name, parent);
assert.equal(studio.invented, true);

const { glazes } = await call('GlazeService', 'ListGlazes', { parent, pageSize: 2 });
const { firings } = await call('FiringService', 'ListFirings', { parent, pageSize: 1 });
assert.equal(glazes.length, 2);

const layers = glazes.map((g) => ({ glaze: g.name, coats: 2 }));
const score = await call('ScoreService', 'ScoreLayering', { parent, layering: { layers }, firing: firings[0].name });
assert.ok(score.medianRunMm > 0 && score.runP10Mm <= score.medianRunMm && score.medianRunMm <= score.runP90Mm, JSON.stringify(score));
assert.match(score.risk, /^RISK_(LOW|MODERATE|HIGH|SEVERE)$/);
assert.ok(score.cautions.length > 0);

// The same pair as a sheet of one: the same number, in single precision.
const sheet = clients.ScoreService.ScoreSheet({
  parent,
  plan: { positions: layers.map((layer) => ({ choices: [layer] })), firings: [firings[0].name] },
});
let scores = 0;
for await (const chunk of sheet) {
  scores += chunk.medianRunMm.length;
  assert.ok(Math.abs(chunk.medianRunMm[0] / score.medianRunMm - 1) < 1e-5, `${chunk.medianRunMm[0]} in the sheet, ${score.medianRunMm} alone`);
}
assert.equal(scores, 1);

const fault = await call('ScoreService', 'ScoreLayering', { parent, layering: { layers: [{ glaze: glazes[0].name, coats: -1 }] }, firing: firings[0].name }).then(
  () => assert.fail('it was taken'),
  (err) => err,
);
assert.equal(fault.code, grpc.status.INVALID_ARGUMENT);
assert.match(fault.details, /layering\.layers\[0\]\.coats/);
assert.ok(fault.metadata.get('grpc-status-details-bin').length === 1);

Object.values(clients).forEach((c) => c.close());
console.log(`gRPC by @grpc/grpc-js: ${score.medianRunMm.toFixed(2)} mm, ${score.risk}`);
