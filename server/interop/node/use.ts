// Uses the types that are generated from the served OpenAPI description; compiling it is the check.
import type { components, operations, paths } from './generated';

type Score = components['schemas']['catchline.v1.Score'];
type Request = NonNullable<operations['ScoreService_ScoreLayering']['requestBody']>['content']['application/json'];

export async function score(base: string, studio: string, request: Request): Promise<Score> {
  const response = await fetch(`${base}/v1/studios/${studio}:score`, { method: 'POST', body: JSON.stringify(request) });
  if (!response.ok) {
    const fault = (await response.json()) as components['schemas']['google.rpc.Status'];
    throw new Error(fault.message);
  }
  return (await response.json()) as Score;
}

export const request: Request = {
  layering: { layers: [{ glaze: 'studios/demo/glazes/a', coats: 2 }] },
  firing: 'studios/demo/firings/f',
};

export const text = (s: Score): string => `${s.medianRunMm ?? 0} mm, ${s.risk ?? 'RISK_UNSPECIFIED'}`;

// A stream is one JSON object a line; its content type says so, so that no generated client takes it for a single object.
type Line = NonNullable<operations['ScoreService_ScoreSheet']['responses'][200]['content']>['application/x-ndjson'];

export async function* lines(response: Response): AsyncGenerator<Line> {
  if (!response.body) return;
  const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
  let rest = '';
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    const parts = (rest + value).split('\n');
    rest = parts.pop() ?? '';
    for (const part of parts) yield JSON.parse(part) as Line;
  }
}

// Reading and updating are one path with two methods, with one name for each part of it.
type Glaze = paths['/v1/studios/{studio}/glazes/{glaze}'];
export type Methods = [Glaze['get'], Glaze['patch'], Glaze['delete']];
