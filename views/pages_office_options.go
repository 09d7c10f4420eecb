package views

import (
	"fmt"
	"slices"
	"strconv"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// leadOptions offers the shop's people as lead, and nobody.
func leadOptions(people []journal.Person) []Option {
	options := []Option{{Text: "Nobody yet"}}
	for _, p := range people {
		options = append(options, Option{Value: string(p.ID), Text: p.Name})
	}
	return options
}

// LeadOptions offers who may lead the build.
func (p BuildNew) LeadOptions() []Option { return leadOptions(p.Leads) }

// LeadOptions offers who may lead the build.
func (p BuildEdit) LeadOptions() []Option { return leadOptions(p.Leads) }

// LeadOptions offers who may lead a stage.
func (p Scope) LeadOptions() []Option { return leadOptions(p.Leads) }

// LeadOptions offers who may lead the stage.
func (p StageEdit) LeadOptions() []Option { return leadOptions(p.Leads) }

// PlanOptions offers the stage plans.
func (p BuildNew) PlanOptions() []Option {
	var options []Option
	for _, plan := range p.Plans {
		days := 0
		for _, s := range plan.Stages {
			days += s.PlannedDays
		}
		options = append(options, Option{Value: string(plan.ID), Text: plan.Name,
			Help: Plural(len(plan.Stages), "stage", "stages") + ", " + WorkingDays(days) + " one after the other"})
	}
	return options
}

// stageOptions offers the stages: those under way first, then those to come,
// then the closed ones, each group in the order of work.
func stageOptions(stages []journal.Stage) []Option {
	var options []Option
	for _, state := range []journal.StageState{journal.UnderWay, journal.NotStarted, journal.Closed} {
		for _, s := range stages {
			if s.State == state {
				options = append(options, Option{Value: string(s.ID), Text: s.Name, Help: string(s.State)})
			}
		}
	}
	return options
}

// StageOptions offers all stages in one list, the state in the words; those
// dropped left out, and for a change order the one that it adds.
func (p PaperEdit) StageOptions() []Option {
	options := []Option{{Text: "Choose the stage"}}
	for _, o := range stageOptions(p.standing()) {
		options = append(options, Option{Value: o.Value, Text: o.Text + " (" + o.Help + ")"})
	}
	return append(options, p.addedOption()...)
}

// standing are the stages that were not dropped.
func (p PaperEdit) standing() []journal.Stage {
	return slices.DeleteFunc(slices.Clone(p.Stages), func(st journal.Stage) bool { return st.DroppedBy != "" })
}

func (p PaperEdit) addedOption() []Option {
	if p.Paper.Kind != signoff.ChangeOrder {
		return nil
	}
	return []Option{{Value: "new", Text: "The stage added by this paper"}}
}

// TeardownOptions offers the stages that take the truck apart.
func (p PaperEdit) TeardownOptions() []Option {
	options := []Option{{Text: "Choose the stage"}}
	for _, st := range p.Stages {
		if st.Teardown {
			options = append(options, Option{Value: string(st.ID), Text: st.Name})
		}
	}
	return options
}

// LineStageOptions offers the stages for one line; the first is the paper's.
func (p PaperEdit) LineStageOptions() []Option {
	options := []Option{{Text: "As above"}}
	if p.Paper.Kind == signoff.EarlyStop {
		options[0].Text = "Choose the stage"
	}
	for _, st := range p.standing() {
		options = append(options, Option{Value: string(st.ID), Text: st.Name})
	}
	return append(options, p.addedOption()...)
}

// kindHelp says what each kind of entry is for.
var kindHelp = map[journal.EntryKind]string{
	journal.KindProgress: "Work done",
	journal.KindFind:     "Something discovered: rust, a cracked bracket, somebody's old tools",
	journal.KindProblem:  "Something is stuck or went wrong",
	journal.KindRoadTest: "Driven: odometer, leaks, noises",
	journal.KindVisit:    "The owner or somebody else came by",
}

func kindOptions() []Option {
	var options []Option
	for _, k := range journal.EntryKinds {
		options = append(options, Option{Value: string(k), Text: UpperFirst(string(k)), Help: kindHelp[k]})
	}
	return options
}

// KindOptions offers the kinds of entry.
func (EntryForm) KindOptions() []Option { return kindOptions() }

// AudienceOptions offers who sees the entry.
func (EntryForm) AudienceOptions() []Option {
	return []Option{
		{Value: string(journal.ShopOnly), Text: "Shop only", Help: "Nobody outside the shop sees it"},
		{Value: string(journal.OwnerToo), Text: "Owner too", Help: "The owner sees it at once"},
	}
}

// KindOrProgress returns the kind to show as chosen.
func (f EntryForm) KindOrProgress() string {
	if f.Kind == "" {
		return string(journal.KindProgress)
	}
	return f.Kind
}

// AudienceOrShop returns the audience to show as chosen: shop only until
// somebody says otherwise.
func (f EntryForm) AudienceOrShop() string {
	if f.Audience == "" {
		return string(journal.ShopOnly)
	}
	return f.Audience
}

// KindOptions offers the line kinds.
func (LineForm) KindOptions() []Option {
	var options []Option
	for _, k := range journal.LineKinds {
		options = append(options, Option{Value: string(k), Text: UpperFirst(string(k))})
	}
	return options
}

// Label names a row's field: "Invoice 31, Frame and coat".
func (r PaymentRow) Label() string {
	if r.Item.Stage == "" {
		return r.Item.Name()
	}
	return r.Item.Name() + ", " + r.Item.Stage
}

// Field returns the row's field name.
func (r PaymentRow) Field() string { return fmt.Sprintf("for.%d.amount", r.N) }

// OpenSays says what is open on the row's invoice and how late it is.
func (p PaymentNew) OpenSays(r PaymentRow) (string, error) {
	said, err := p.Money(r.Item.Open)
	if err != nil {
		return "", err
	}
	said += " open"
	if r.Item.Late > 0 {
		said += ", " + Plural(r.Item.Late, "day", "days") + " late"
	}
	return said, nil
}

// DepositSays says what is still to come of the deposit.
func (p PaymentNew) DepositSays() (string, error) {
	asked, err := p.Money(p.DepositAsked)
	if err != nil {
		return "", err
	}
	in, err := p.MoneyOrNothing(p.DepositIn)
	return asked + " still to come, " + in + " received so far", err
}

// AsksDeposit reports whether the form has a field for the deposit.
func (p PaymentNew) AsksDeposit() bool {
	return p.DepositAsked > 0 || p.Form.Deposit != "" || p.Problems["deposit"] != ""
}

// MeansOptions offers how it was sent.
func (RefundForm) MeansOptions() []Option { return PaymentForm{}.MeansOptions() }

// SourceOptions offers out of what money can be sent back.
func (p RefundNew) SourceOptions() ([]Option, error) {
	var options []Option
	for _, o := range []struct {
		value, text string
		amount      journal.Cents
	}{{"favour", "What stands in the owner’s favour", p.Favour}, {"deposit", "The deposit, as far as it is not used", p.Unearned}} {
		if o.amount <= 0 && p.Form.Source != o.value {
			continue
		}
		there, err := p.MoneyOrNothing(o.amount)
		if err != nil {
			return nil, err
		}
		options = append(options, Option{Value: o.value, Text: o.text, Help: there})
	}
	return options, nil
}

// MeansOptions offers how it was paid.
func (PaymentForm) MeansOptions() []Option {
	var options []Option
	for _, m := range journal.MeansOffered {
		options = append(options, Option{Value: string(m), Text: UpperFirst(string(m))})
	}
	return options
}

// RoleOptions offers what a person does.
func (PersonForm) RoleOptions() []Option {
	return []Option{
		{Value: string(journal.Office), Text: "Office", Help: "Scopes, prices, sends papers, closes stages, bills"},
		{Value: string(journal.Floor), Text: "Floor", Help: "Posts photos and finds, works the stages"},
		{Value: string(journal.Owner), Text: "Owner", Help: "Owns a truck, or decides in an owner's place; sees only that truck"},
	}
}

// PersonOptions offers whom to add to the build.
func (p BuildPeople) PersonOptions() []Option {
	options := []Option{{Text: "Choose a person"}}
	for _, person := range p.Choices {
		options = append(options, Option{Value: string(person.ID), Text: person.Name + ", " + person.Email})
	}
	return options
}

// AsOptions offers in which quality a person belongs to the build.
func (BuildPeople) AsOptions() []Option {
	return []Option{
		{Value: string(journal.AsOwner), Text: "Owner", Help: "Their truck"},
		{Value: string(journal.AsDelegate), Text: "Delegate", Help: "Named in writing by an owner to decide in their place"},
	}
}

// CreditingOptions offers how the deposit is credited.
func (Terms) CreditingOptions() []Option {
	help := map[billing.Crediting]string{
		billing.ProRata:     "Each invoice uses the share of the deposit that it is of the agreed total",
		billing.LastFirst:   "It is kept for the end of the build",
		billing.FirstFirst:  "It pays the invoices until no more than the floor is left; then the owner fills it up again",
		billing.ShareOfEach: "Each invoice uses the share typed below, of what it bills before tax and holdback",
	}
	var options []Option
	for _, way := range billing.Creditings {
		options = append(options, Option{Value: string(way), Text: UpperFirst(string(way)), Help: help[way]})
	}
	return options
}

// LimitOptions offers the limits on holdback, each with its source.
func (Terms) LimitOptions() []Option {
	options := []Option{{Text: "None", Help: "Only the rate above counts"}}
	for _, l := range billing.Limits {
		options = append(options, Option{Value: l.Name, Text: l.Name + ": at most " + LimitWords(l.OfPayment, l.OfPrice), Help: l.Source})
	}
	return options
}

// Limited reports whether the limits on holdback stand open: one is chosen, or
// wants another look.
func (p Terms) Limited() bool { return p.Form.HoldbackCap+p.Problems["holdback_cap"] != "" }

// LateOptions offers what a late invoice does to the next stage.
func (Terms) LateOptions() []Option {
	return []Option{
		{Value: "no", Text: "Opens as usual"},
		{Value: "yes", Text: "Opens only after the office has confirmed it", Help: "The owner reads so in the agreement"},
	}
}

// TransportOptions offers who brings the truck to its owner.
func (Terms) TransportOptions() []Option {
	var options []Option
	for _, way := range billing.Transports {
		text := UpperFirst(string(way))
		if way == billing.NotSettled {
			text = "Not settled yet"
		}
		options = append(options, Option{Value: string(way), Text: text})
	}
	return options
}

// StoredTransport says what is agreed about bringing the truck; "" for nothing.
func (p Terms) StoredTransport() string {
	return TransportWords(p.Stored.Transport, p.Stored.DeliverTo)
}

// PricedFixed and PricedMetered are what the field "pricing" of a stage says.
const (
	PricedFixed   = "fixed"
	PricedMetered = "metered"
)

// PricingOf returns what the field "pricing" says for a stage.
func PricingOf(metered bool) string {
	if metered {
		return PricedMetered
	}
	return PricedFixed
}

// PricingOptions offers how a stage is priced.
func (Frame) PricingOptions() []Option {
	return []Option{
		{Value: PricedFixed, Text: "Fixed price", Help: "The value is billed, whatever the work takes"},
		{Value: PricedMetered, Text: "Time and materials", Help: "The hours, parts and outside work logged are billed; the value is the most it may cost"},
	}
}

// BasisOptions offers how tax is rounded.
func (Terms) BasisOptions() []Option {
	return []Option{
		{Value: "invoice", Text: "Per invoice", Help: "Tax of the whole invoice is rounded once"},
		{Value: "line", Text: "Per line", Help: "Each line kind of each line is rounded alone"},
	}
}

// Field returns the form field name of one of the numbered lines of a form:
// "stages", 2, "name" is "stages.2.name".
func (Frame) Field(list string, n int, name string) string {
	return list + "." + strconv.Itoa(n) + "." + name
}
