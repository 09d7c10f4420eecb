package views

// The pages of the office. Each names its template here, so that the folder
// templates/office can be read beside one list.

func (WhatWaits) Template() string    { return "office/what_waits" }
func (Builds) Template() string       { return "office/builds" }
func (BuildNew) Template() string     { return "office/build_new" }
func (BuildEdit) Template() string    { return "office/build_edit" }
func (StaffBuild) Template() string   { return "office/build" }
func (Scope) Template() string        { return "office/scope" }
func (Terms) Template() string        { return "office/terms" }
func (BuildPeople) Template() string  { return "office/build_people" }
func (StaffStage) Template() string   { return "office/stage" }
func (StageEdit) Template() string    { return "office/stage_edit" }
func (PaperEdit) Template() string    { return "office/paper_edit" }
func (PaperPreview) Template() string { return "office/paper_preview" }
func (StaffPaper) Template() string   { return "office/paper" }
func (PaymentNew) Template() string   { return "office/payment_new" }
func (RefundNew) Template() string    { return "office/refund_new" }
func (StaffMoney) Template() string   { return "office/money" }
func (People) Template() string       { return "office/people" }
func (Person) Template() string       { return "office/person" }
func (Plans) Template() string        { return "office/plans" }
func (PlanEdit) Template() string     { return "office/plan_edit" }
func (Shop) Template() string         { return "office/shop" }
func (Outbox) Template() string       { return "office/outbox" }
func (LetterPage) Template() string   { return "office/letter" }

var _ = declare(WhatWaits{}, Builds{}, BuildNew{}, BuildEdit{}, StaffBuild{}, Scope{}, Terms{}, BuildPeople{},
	StaffStage{}, StageEdit{}, Plans{}, PlanEdit{}, PaperEdit{}, PaperPreview{}, StaffPaper{}, PaymentNew{}, RefundNew{}, StaffMoney{}, People{}, Person{},
	Shop{}, Outbox{}, LetterPage{})
