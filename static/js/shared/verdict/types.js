/**
 * What the verdict on a phone is made from and what it says: the shapes, no code.
 *
 * A plan and the rules come from the server (inventory/engineering/assessment/carried.py), which
 * alone knows the tables; the phone compares.
 *
 * @module
 */

/**
 * @typedef {"meets" | "below" | "undecided" | "no usable reading" | "no level"
 *   | "sheeting not allowed" | "excluded"} Verdict
 */

/**
 * A row that could apply; `level` in thousandths of cd/lx/m² or of a ratio, null where the row
 * prohibits the sheeting.
 *
 * @typedef {{ level: number | null, table_id: string, row_id: string, checked: string,
 *   place: string[] }} Candidate
 */

/**
 * @typedef {{ kind: string, color: string, denominator: string | null, name: string,
 *   words: string, candidates: Candidate[], no_level: string, not_known: string,
 *   unknown: string[][], unverified: string[], decides: boolean, is_recommended: boolean,
 *   is_own_level: boolean, agency_words: string, table_words: string }} ElementPlan
 */

/**
 * @typedef {{ v: number, method_version: string, excluded: string, not_known: string,
 *   notes: string[], elements: ElementPlan[] }} Plan
 */

/**
 * Shares of the reading; degrees of freedom null where they are infinite.
 *
 * @typedef {{ repeatability_rel: number, common_rel: number, single_scatter_rel: number,
 *   single_scatter_dof: number | null }} StatedUncertainty
 */

/**
 * @typedef {{ rule: { kind: string, required_probability: number | null },
 *   uncertainty: StatedUncertainty, usual_reading_count: number,
 *   geometry: { observation_angle_deg: string, entrance_angle_deg: string },
 *   not_judged: { how: Record<string, string>, surface_state: Record<string, string> },
 *   color_words: Record<string, string>, recommended_by: string, agency_table: string }} Policy
 */

/**
 * The values of one colour of one visit, as typed. What is being read now leaves out `at_us`,
 * `day` and `visit`; what was read before has them from the server.
 *
 * @typedef {{ color: string, values: string[], how?: string, surface_state?: string,
 *   observation_angle_deg?: string, entrance_angle_deg?: string, doubt?: string,
 *   instrument_id?: number | null, at_us?: number, day?: string, visit?: number }} TypedSet
 */

/**
 * A set with everything filled in, its values in thousandths.
 *
 * @typedef {Required<TypedSet> & { thousandths: number[], reason: string }} ReadSet
 */

/**
 * The readings of one colour as one result; scatter and common part in cd/lx/m².
 *
 * @typedef {{ total: number, count: number, scatter: number, scatterDof: number,
 *   common: number, outliers: number[] }} ColorResult
 */

/**
 * What was read of one colour and is judged: one visit, put together.
 *
 * @typedef {{ result: ColorResult, sets: ReadSet[] }} ColorReadings
 */

/**
 * `further`: 0 decided, 31 more than 30, -1 no number of readings would settle it.
 *
 * @typedef {{ verdict: Verdict, p: number, u: number, dof: number, U: number, guard: number,
 *   further: number, interval: [number, number] | null }} Decision
 */

/**
 * An exact number of 0 or more.
 *
 * @typedef {{ numerator: bigint, denominator: bigint }} Fraction
 */

/**
 * One element under every row that could apply; `verdicts` goes with the plan's candidates.
 *
 * @typedef {{ plan: ElementPlan, first: ColorReadings | null, second: ColorReadings | null,
 *   verdict: Verdict, verdicts: Verdict[], decisions: Map<number, Decision>,
 *   value: Fraction | null, count: number, governing: Candidate | null,
 *   blame: string }} Judgement
 */

/**
 * @typedef {{ sum: number, count: number }} Sum
 */

/**
 * @typedef {{ name: string, kind: string, color: string, words: string, verdict: Verdict,
 *   reason: string, decides: boolean, level: number | null, levelWords: string,
 *   value: Sum | { white: Sum, red: Sum } | null, meanWords: string, spreadWords: string,
 *   p: number | null, U: number | null, low: number | null, high: number | null,
 *   further: number | null, furtherWords: string, table_id: string, row_id: string,
 *   tableWords: string, checked: string, isVerified: boolean, count: number, flags: string[],
 *   spread: string[] }} ElementAnswer
 */

/**
 * @typedef {{ verdict: Verdict, reason: string, elements: ElementAnswer[],
 *   probability_low: number | null, probability_high: number | null,
 *   not_judged: { color: string, reason: string }[] }} Answer
 */

export {};
