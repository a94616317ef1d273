/**
 * The shapes of what the phone keeps and sends; no code.
 *
 * @module
 */

/** @typedef {"waiting" | "sent" | "held" | "refused" | "acknowledged" | "discarded" | "withdrawn"} OperationState */
/** @typedef {{ code: string, sentence: string, result: Record<string, any> }} Answer */
/** @typedef {{ id: number } | { operation: string }} Ref a record of the server, or the operation that makes it */
/** @typedef {{ by: string, latitude_deg?: number | null, longitude_deg?: number | null, accuracy_m?: number | null, candidate_count?: number | null }} Identified */

/**
 * What is sent: the text and its hash. Never changed once recorded.
 *
 * @typedef {object} WireOperation
 * @property {string} client_uuid
 * @property {string} sha256 of the UTF-8 bytes of content
 * @property {string} content JSON text
 */

/**
 * @typedef {object} StoredOperation
 * @property {string} client_uuid
 * @property {number} sequence the phone's own count, from 1
 * @property {string} kind
 * @property {string} content
 * @property {string} sha256
 * @property {number} recorded_at_ms by the phone's clock
 * @property {number} user_id
 * @property {string} sign_key what it is about: "sign:12", "position:5", "operation:<uuid>", or ""
 * @property {string[]} needs
 * @property {string | null} replaces
 * @property {OperationState} state
 * @property {Answer | null} answer
 * @property {number} tries how often it was put into a batch
 * @property {string | null} replaced_by the operation recorded in its place, or that discards it
 * @property {number | null} acknowledged_at_ms by the server's clock
 * @property {string} [withdrawn_reason]
 */

/**
 * @typedef {object} StoredPhoto
 * @property {string} photo_uuid
 * @property {string} operation client_uuid of its operation
 * @property {string} sha256
 * @property {number} size_bytes
 * @property {string} type
 * @property {string} role seen, before or after
 * @property {string} caption
 * @property {"waiting" | "stored" | "refused"} state
 * @property {number} sent_bytes
 * @property {string} sentence why it was refused
 * @property {boolean} is_here false once its bytes made room for others
 */

/** @typedef {StoredPhoto & { bytes: ArrayBuffer }} NewPhoto */

/**
 * A photo of a form that is not saved yet.
 *
 * @typedef {object} DraftPhoto
 * @property {string} photo_uuid
 * @property {string} draft under what the form's typing is kept
 * @property {string} hash of the screen
 * @property {string} role seen, before or after
 * @property {number} taken_at_ms by the phone's clock
 * @property {string} type
 * @property {ArrayBuffer | null} bytes null: this photo of an earlier record is left out
 */

/** @typedef {{ client_uuid: string, answer: string, code?: string, sentence?: string, result?: Record<string, any> }} ServerAnswer */
/** @typedef {{ device_uuid: string, key: string, name: string }} DeviceSetting */
/** @typedef {{ id: number, name: string }} Person */

/** @typedef {Record<string, any> & { id: number, latitude_deg: number, longitude_deg: number }} CarriedSupport */
/** @typedef {Record<string, any> & { id: number, support_id: number, sign_id: number | null }} CarriedPosition */
/** @typedef {Record<string, any> & { id: number, position_id: number | null }} CarriedSign */

/**
 * A place on a support, with the sign on it when there is one.
 *
 * @typedef {object} Found
 * @property {CarriedSupport} support
 * @property {CarriedPosition} position
 * @property {CarriedSign | null} sign
 * @property {number | null} distance_m
 * @property {number | null} bearing_deg true bearing from the person to the support
 */

/** @typedef {{ south_deg: number, west_deg: number, north_deg: number, east_deg: number }} Box */
/** @typedef {{ id: string, title: string, kind: "package" | "area", package_id: number | null, box: Box | null, taken_at_ms: number, is_whole: boolean, support_count: number, sign_count: number }} Area */

export {};
