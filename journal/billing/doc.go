// Package billing turns what was agreed into invoices, credit memos and
// statements, so that no cent appears or vanishes.
//
// Everything starts from an [Account]: the terms of one build, the charges that
// were agreed, and the documents and payments there are so far. [Next] gives
// the document for charges not yet billed, [Cancel] the credit memo that takes
// an invoice back, [Release] the document that lets the holdback go. None of
// them changes the account: the caller numbers the document, stores it and
// appends it. [Open] says what is unpaid, [StatementOf] sums everything up, and
// [Statement.Check] tests the sums.
//
// The package is pure: no clock, no disk. Amounts are whole [journal.Cents],
// rates are [journal.BasisPoints] (1/100 of a per cent).
//
// # Charges
//
// A charge is one thing agreed: the value of a stage, the part of a signed
// change order that one stage bears, one use of a standing allowance. It is
// billed whole and at most once. After its invoice was cancelled it can be
// billed again. Charges are only ever added, never altered.
//
// # Time and materials
//
// On a metered stage the agreed charges, signed changes among them, are not billed:
// they make up its ceiling. What is billed to date is the work logged to date, at
// most the ceiling. A document lists all work not billed yet and, where that would
// pass the ceiling, one line more that brings it back to it; when a later change
// raises the ceiling, the line of the next document charges what was left out, and
// when one lowers it below what is billed, it credits the difference. Kind by kind,
// the billed work is the logged work, or the ceiling divided over the kinds in
// proportion to the logged work ("Shares"). A ceiling that signed changes took below
// zero is credited, in the kinds of those changes. What a closed stage has not used of its
// ceiling is not owed: it is taken off what is agreed, and put back if the stage
// is reopened.
// Source: a price by time and materials with a ceiling that the contractor exceeds
// at its own risk is that of FAR 16.601 (from memory); the cumulative form and the
// division over kinds are our own choice.
//
// # Ending early
//
// A build that ends early by a signed paper gets a charge for each stage that is
// open: what is not done, negative, kind by kind ([Rest]). All charges not billed are then
// billed together in one document that holds nothing back, after what was held is
// released ([Final]); what is agreed is what is billed from then on, so the whole
// deposit is due for crediting, and what no document can use is unearned. A build that
// is stopped without a signature keeps what is agreed, and nothing more is billed:
// what was not done stays agreed and to bill, until a paper takes it off.
// Source: common practice, no source.
//
// # Rounding
//
// Each rule below is the only place where its figure is rounded. "Half away"
// means to the nearest cent, an exact half away from zero.
//
// Tax. The exact tax is carried to the third decimal of the currency unit (what
// follows is cut off) and rounded up when that digit is 5 or more. A half cent
// has the third decimal 5, so this is half away, never twice rounded and never
// half to even. On the invoice basis the exact tax of all line kinds of a
// document is added up first and rounded once; on the item basis each line kind
// of each charge is one item and rounded alone. Negative amounts round as their
// positive counterparts do, so a credit of the same lines takes back exactly
// the tax that was charged. Tax is decided per document and never re-decided,
// so the tax of several invoices may differ by cents from the tax on their sum.
// Source: Streamlined Sales and Use Tax Agreement, section 324, as enacted in
// R.I. Gen. Laws 44-18.1-25 (third decimal; item or invoice basis). The
// symmetry for credits is our own choice.
//
// Holdback. Held to date is the holdback rate of billed to date before tax,
// half away; a document holds the difference to what is held already. Rounding
// the running total, not each document, keeps the sum within half a cent of
// the rate: six published applications rounded one by one miss it by a cent
// (City of Carmel, Indiana, record 925719). Billed to date below zero counts as
// zero. An invoice never gives holdback back and never holds more than its
// total with tax; a credit memo never holds and never gives back more than its
// total. What such a limit cuts off is made up by the next document that can.
// After a release nothing more is held. Where the terms name a limit, a document
// holds at most its share of the subtotal, and all together at most its share of
// the agreed price, both cut off to whole cents; see [Limits].
// Source: common practice, no source; the cumulative form is our own choice.
//
// Deposit. A document credits the difference between what is to be credited to
// date and what is credited already. To date is, where the deposit is what was
// received less refunded, and billed and agreed are before tax:
//
//   - pro rata: deposit x billed to date / agreed total, half away;
//   - to the last payments first: the deposit less what is agreed and not billed
//     yet, so that it pays for the end of the build;
//   - to the first payments first: all of the deposit; when no more than the floor
//     is left and something is still to bill, it is to be filled up again to the
//     amount agreed;
//   - as a share of each invoice: share x billed to date, half away, at most the
//     deposit. The base is what is billed before tax and holdback, for advice on
//     it differs and the agreement has to say it.
//
// Whatever the way: billed at or above the agreed total, the whole deposit is due
// for crediting; billed at or below zero, nothing is. A document never credits
// less than zero (a credit memo takes no deposit credit back), nor more than it
// leaves to pay, nor more than is left of the deposit. What a limit cuts off is
// made up by the next document or stays unearned, to be refunded.
// Source: the ways are common practice; last payments first and the refill at a
// floor as restoration shops publish them (10,000 refilled at 500; a retainer kept
// for the final invoice); the share of each invoice and its limit by what is left
// from FAR 32.503-8 and 52.232-16(b). That totals are cumulative is our own
// choice.
//
// Shares. An amount divided by weights gets the whole cents of each exact
// share, and the cents left over go one each to the largest fractions, the
// first of equals first (largest remainder, also called Hamilton or
// Hare-Niemeyer). A negative amount divides as its positive counterpart. Only
// amounts not yet billed are ever divided: dividing again after a total changed
// can move a cent the wrong way, so issued documents are left alone.
//
// # Documents
//
// For every document: subtotal + tax = deposit credit + holdback + payable. It
// is an invoice when subtotal + tax is zero or more, else a credit memo; an
// invoice's payable is never negative, a credit memo's never positive. A
// holdback release has neither subtotal nor tax: its holdback is negative and
// becomes payable, as far as the deposit does not cover it. Cancelling mirrors
// every figure of the invoice, so its credit memo settles it to the cent; only
// holdback that is not held any more (released, or given back by a credit memo
// since) is not given back again.
//
// # Statement and application for payment
//
// A statement over a period is summed from two accounts: as recorded before it,
// and as recorded at its end ([PeriodOf]). The share billed is cut off to whole
// basis points, so that 100 % is said only when all is billed. [Explain] lists the
// records of each figure; they add up to it, whatever the account.
//
// An application for payment ([ApplicationOf]) shows the same as items with a
// scheduled value. Completed is what is billed, and retainage what is held back,
// divided over the items by what is completed of each ("Shares"); line 7 is line 6
// of the application before. Stored materials are 0: the shop bills none apart. On
// a metered stage what is billed fills its items in the order agreed.
// Source: the lines and columns are those of public owners' forms, named beside
// [Application.Check] and in its tests; how metered stages fill is our own choice.
//
// # Books
//
// In double-entry books, debits positive: a document puts its payable on the
// receivable, its holdback on what is held back and its deposit credit on the
// deposits, and takes its lines from the income of their kinds and its tax from
// the sales tax. Money goes to where its means comes in, against the receivable
// when it is for a document, the deposits when it is of the deposit, and what is on
// account when it is paid on account; what is sent back or reversed is the same
// with the other sign. Whatever is used of the money on account after an entry, by
// the rule of [Open], moves from there to the receivable within that entry. So the
// receivable is what is open on all documents, the credit on them taken off.
// An entry has the day of issue or the day on which the money came or went, not
// the day on which it was recorded. Money for a document that was issued later is
// on account until then.
// Source: common practice, no source.
//
// The tax of a document divided over line kinds, for a tax return: on the item
// basis the tax of each kind's items; on the invoice basis the whole cents of each
// kind's exact tax, and the cents left over one each to the largest fractions, the
// first of equals first. A document of negative tax divides as its positive
// counterpart, so a cancelling credit memo takes back kind by kind what the invoice
// charged. Source: our own choice; the rule on rounding above only fixes the sum.
//
// # Forecast of cash
//
// The closes that are planned are played through on the account in the order of
// their days, by the rules above: each issues its document, with its tax, holdback
// and deposit credit, due after the days of the terms; then what no close bills is
// billed and, on the day on which the build is to be ready, the holdback released.
// A close planned for a day gone by is taken for today. A deposit asked and not in
// is taken to come in on the day on which it is asked, so that documents use it.
// What is in the owner's favour settles the next documents, and what is left of it
// and of the deposit is sent back in the end. A metered stage bills what is logged
// on its next day of billing, if there is one before its close, and with its close
// all of its ceiling: that is the most it can come to. Nothing else is guessed:
// papers that are not signed and delays that nobody has put into the plan are not
// in it.
// Source: our own choice.
package billing
