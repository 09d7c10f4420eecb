package signoff

import "slices"

// SignSentence is the act's wording that stands beside the button for signing a
// paper of this kind, and is kept with the decision.
func (k Kind) SignSentence() string {
	switch k {
	case BuildAgreement:
		return "I have read this build agreement and I agree to it, with its scope, its stages and their values, its terms of payment and its date."
	case Teardown:
		return "I have read this teardown authorization and I authorize taking the truck apart. I know what it costs, which parts are normally destroyed, and that the truck may not go back together as it was."
	case DateChange:
		return "I have read this date change and I agree to the new date."
	case DeliveryAcceptance:
		return "I have read this delivery acceptance. I have received what it lists and I accept the truck."
	case EarlyStop:
		return "I have read this early stop and I agree to it. The build ends, what is listed as done is billed, and the rest is not done and not owed."
	}
	return "I have read this change order and I agree to it, with its cost, the new total and the new date."
}

// DeclineSentence is the wording for declining it.
func (k Kind) DeclineSentence() string {
	switch k {
	case BuildAgreement:
		return "I have read this build agreement and I decline it. Nothing in it is agreed."
	case Teardown:
		return "I have read this teardown authorization and I decline it. The truck is not to be taken apart."
	case DateChange:
		return "I have read this date change and I decline it. The agreed date stays as it is."
	case DeliveryAcceptance:
		return "I have read this delivery acceptance and I decline it. I do not accept the truck as it is."
	case EarlyStop:
		return "I have read this early stop and I decline it. The agreement stands as it was."
	}
	return "I have read this change order and I decline it. Nothing in it is to be done or billed."
}

// notices stand above the signature of every paper, after what its kind needs.
const (
	legalNotice = "Local law decides what must be signed and how; this page is no legal advice."
	workNotice  = "Nothing is done or billed for this until you agree."
)

// When a build agreement lets the shop bill.
const (
	billedOnClosing  = "No stage is billed before it is closed, but for a deposit where this agreement names one."
	billedOnBillDays = "No stage is billed before it is closed, but for a deposit where this agreement names one, and for the work logged on stages by time and materials, on the days of the month that this agreement names."
)

// Notices are the sentences that stand above the signature of this build
// agreement.
func (a SheetAgreement) Notices() []string {
	all := BuildAgreement.Notices()
	if a.Metered() && len(a.BillDays) > 0 {
		all[slices.Index(all, billedOnClosing)] = billedOnBillDays
	}
	return all
}

// Notices are the sentences that stand above the signature of a paper of this
// kind.
//
// Source of those of a teardown: 16 CCR 3353 (California): cost including
// reassembly, parts normally destroyed, and that teardown may prevent
// restoration to the former condition.
func (k Kind) Notices() []string {
	switch k {
	case BuildAgreement:
		return []string{
			"Extra work needs a paper of its own, which you sign before it is begun, or a standing allowance that you have given in writing.",
			billedOnClosing,
			legalNotice,
		}
	case Teardown:
		return []string{
			"Taking the truck apart may prevent putting it back into its former condition.",
			"If you decide to stop after the teardown, you owe the teardown and, if you want the truck put back together, what this paper says for that.",
			legalNotice,
		}
	case DateChange:
		return []string{"This changes no amount.", legalNotice}
	case DeliveryAcceptance:
		return []string{
			"Signing does not take away any right that the law gives you for faults that could not be seen at the handover.",
			legalNotice,
		}
	case EarlyStop:
		return []string{
			"Nothing ends, and nothing in it is billed, until you sign.",
			"Signing ends the build: every open stage is closed as it is, and a standing allowance ends.",
			"Signing does not take away any right that the law gives you for faults in what was done.",
			legalNotice,
		}
	}
	return []string{workNotice, legalNotice}
}
