// Uses the types that are generated from the served OpenAPI description; compiling it is the check.
import type { components, operations } from './generated';

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
