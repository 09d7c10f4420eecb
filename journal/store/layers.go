package store

import (
	"farbay/journal"
)

// layerJSON is a layer inside a JSON column.
type layerJSON struct {
	Number int        `json:"number,omitempty"`
	Turn   int        `json:"turn,omitempty"`
	Crop   cropJSON   `json:"crop,omitzero"`
	Marks  []markJSON `json:"marks,omitempty"`
}

type cropJSON struct {
	X int `json:"x"`
	Y int `json:"y"`
	W int `json:"w"`
	H int `json:"h"`
}

type markJSON struct {
	Shape string `json:"shape"`
	X     int    `json:"x"`
	Y     int    `json:"y"`
	X2    int    `json:"x2"`
	Y2    int    `json:"y2"`
	Text  string `json:"text"`
}

func toLayerJSON(l journal.Layer) layerJSON {
	return layerJSON{Number: l.Number, Turn: l.Turn, Crop: cropJSON(l.Crop), Marks: each(l.Marks, func(m journal.Mark) markJSON {
		return markJSON{string(m.Shape), m.X, m.Y, m.X2, m.Y2, m.Text}
	})}
}

func (l layerJSON) layer() journal.Layer {
	return journal.Layer{Number: l.Number, Turn: l.Turn, Crop: journal.Crop(l.Crop), Marks: each(l.Marks, func(m markJSON) journal.Mark {
		return journal.Mark{Shape: journal.MarkShape(m.Shape), X: m.X, Y: m.Y, X2: m.X2, Y2: m.Y2, Text: m.Text}
	})}
}

type layerRow struct {
	BuildID string
	PhotoID string `gorm:"primaryKey"`
	Number  int    `gorm:"primaryKey;autoIncrement:false"`
	Layer   object[layerJSON]
	ByID    string
	At      instant
}

func (layerRow) TableName() string { return "photo_layers" }

func toLayerRow(s journal.LayerSet) layerRow {
	return layerRow{
		BuildID: string(s.BuildID), PhotoID: string(s.PhotoID), Number: s.Layer.Number, Layer: object[layerJSON]{toLayerJSON(s.Layer)},
		ByID: string(s.ByID), At: at(s.At),
	}
}

func (r layerRow) layerSet() journal.LayerSet {
	return journal.LayerSet{
		BuildID: journal.BuildID(r.BuildID), PhotoID: journal.PhotoID(r.PhotoID), Layer: r.Layer.V.layer(),
		ByID: journal.PersonID(r.ByID), At: r.At.Time,
	}
}

// Layers implements [flow.Reads].
func (r *reads) Layers(build journal.BuildID, photo journal.PhotoID) ([]journal.LayerSet, error) {
	q := r.q().Where("build_id = ? AND photo_id = ?", string(build), string(photo))
	return find(r, "Layers", q.Order("number"), layerRow.layerSet)
}

// AddLayer implements [flow.Tx].
func (t *tx) AddLayer(s journal.LayerSet) error {
	const op = "AddLayer"
	row := toLayerRow(s)
	return t.whole(op, func() error {
		before, err := t.Layers(s.BuildID, s.PhotoID)
		if err != nil {
			return err
		}
		if s.Layer.Number != len(before)+1 {
			return journal.Errorf(journal.Conflict, "Somebody else changed this photo's marks meanwhile. Please look at it again.")
		}
		if err := t.add(op, "", &row); err != nil {
			return err
		}
		return t.changePhoto(op, journal.Photo{ID: s.PhotoID, BuildID: s.BuildID}, "layer = ?", row.Layer)
	})
}
