// Sums of money in whole minor units, reckoned and written as the server does (papers/money.py, words/money.py).
import { fill } from "./dom.js";

const WHOLE = 100_000n; // a rate is kept in thousandths of a percent

/** What `extras` finals beyond the allowance come to, tax on top included, in minor units. */
export function total({ unit, rate, included }, extras) {
  const amount = BigInt(unit) * BigInt(extras);
  if (rate === null || included) return amount;
  return amount + (2n * amount * BigInt(rate) + WHOLE) / (2n * WHOLE);
}

/** Minor units in the reader's language, with the currency where that language puts it. */
export function written(minor, { digits, decimal, group, placed }) {
  const text = String(minor).padStart(digits + 1, "0");
  const whole = text.slice(0, text.length - digits).replace(/\B(?=(\d{3})+$)/g, group);
  return fill(placed, { number: digits ? `${whole}${decimal}${text.slice(-digits)}` : whole });
}

/** The sum for so many extras, written; "" where there are none, or no price is said. */
export const sumOf = (price, extras) => (price && extras > 0 ? written(total(price, extras), price) : "");
