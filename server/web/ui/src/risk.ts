// The risk words of the service, in rising order.
import type { Risk } from "./api/types";

export const risks = ["RISK_LOW", "RISK_MODERATE", "RISK_HIGH", "RISK_SEVERE"] as const satisfies readonly Risk[];

const words: { [risk: string]: string } = {
  RISK_LOW: "Low",
  RISK_MODERATE: "Moderate",
  RISK_HIGH: "High",
  RISK_SEVERE: "Severe",
};

export function riskWord(risk: Risk | undefined): string {
  return words[risk ?? ""] ?? "Unknown";
}

// 0 low to 3 severe.
export function riskRank(risk: Risk | undefined): number {
  return Math.max(0, (risks as readonly string[]).indexOf(risk ?? ""));
}
