package store

import (
	"flag"
	"os"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"gorm.io/gorm/schema"
)

var update = flag.Bool("update", false, "write schema.sql anew")

// TestSchema compares what the migrations make with what readers are told.
func TestSchema(t *testing.T) {
	var statements []string
	err := open(t).writer.Raw(`SELECT sql FROM sqlite_master
		WHERE sql IS NOT NULL AND tbl_name NOT LIKE 'goose%' AND tbl_name NOT LIKE 'sqlite%'
		ORDER BY tbl_name, type = 'trigger', type = 'index', name`).Scan(&statements).Error
	if err != nil {
		t.Fatal(err)
	}
	got := "-- What the migrations come to; written by: go test ./journal/store -run TestSchema -update\n\n" +
		strings.Join(statements, ";\n\n") + ";\n"
	if *update {
		if err := os.WriteFile("schema.sql", []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile("schema.sql")
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("schema.sql is not what the migrations make (-want +got):\n%s", diff)
	}
}

// TestSchema_Strict: a table that is not STRICT takes text for a number. Those of
// the full-text search are SQLite's own.
func TestSchema_Strict(t *testing.T) {
	var loose []string
	err := open(t).writer.Raw(`SELECT name FROM pragma_table_list
		WHERE schema = 'main' AND strict = 0 AND name NOT LIKE 'sqlite%' AND name NOT LIKE 'goose%'
		AND name NOT LIKE 'entry_words%'`).Scan(&loose).Error
	if err != nil || len(loose) > 0 {
		t.Errorf("tables that are not STRICT: %v (%v)", loose, err)
	}
}

// rowsOfTables lists every row struct; TestRows_MatchColumns finds a forgotten
// one by its table.
var rowsOfTables = []any{
	personRow{}, sessionRow{}, linkRow{}, keptFormRow{}, shopRow{}, metaRow{}, planRow{}, buildRow{}, memberRow{}, visitRow{},
	stageRow{}, checkRow{}, turnRow{}, entryRow{}, entryPhotoRow{}, entryEditRow{}, photoRow{}, paperRow{}, revisionRow{},
	revisionPhotoRow{}, decisionRow{}, questionRow{}, consentRow{}, termsRow{}, invoiceRow{}, billedChargeRow{}, cancelledChargeRow{}, paymentRow{},
	eventRow{}, letterRow{}, letterFileRow{}, jobRow{}, layerRow{}, correctionRow{}, nodeRow{}, logKeyRow{},
	checkpointRow{}, allowanceRow{}, useRow{}, usePhotoRow{},
	scanRow{}, postingRow{}, workRow{}, workFileRow{}, reminderRow{}, confirmationRow{}, belongingRow{}, belongingAnswerRow{}, passkeyRow{}, passkeyAskRow{},
	mixRow{}, pourRow{}, readingRow{}, usedRow{}, paintBackRow{}, paintShownRow{},
}

// TestRows_MatchColumns: each row struct has exactly its table's columns, but
// for those that the database fills by itself.
func TestRows_MatchColumns(t *testing.T) {
	db := open(t).writer
	own := []string{"added", "places", "showings"}
	without := func(names []string) []string {
		names = slices.DeleteFunc(names, func(n string) bool { return slices.Contains(own, n) })
		slices.Sort(names)
		return names
	}
	var tables []string
	for _, row := range rowsOfTables {
		parsed, err := schema.Parse(row, &sync.Map{}, db.NamingStrategy)
		if err != nil {
			t.Fatal(err)
		}
		tables = append(tables, parsed.Table)
		var columns []string
		if err := db.Raw("SELECT name FROM pragma_table_info(?)", parsed.Table).Scan(&columns).Error; err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(without(columns), without(slices.Clone(parsed.DBNames))); diff != "" {
			t.Errorf("%v and table %s differ (-table +struct):\n%s", reflect.TypeOf(row), parsed.Table, diff)
		}
	}
	var all []string
	if err := db.Raw("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'goose%' AND name NOT LIKE 'sqlite%' AND name NOT LIKE 'entry_words%' AND name <> 'entry_docs'").Scan(&all).Error; err != nil {
		t.Fatal(err)
	}
	slices.Sort(tables)
	slices.Sort(all)
	if diff := cmp.Diff(all, tables); diff != "" {
		t.Errorf("tables without a row struct (-table +struct):\n%s", diff)
	}
}
