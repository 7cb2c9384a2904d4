package book

import (
	"context"
	"database/sql"
	"fmt"
)

// RenameHarvest gives a harvest another name, and the planting that bears its name with it: a harvest's own plants
// are found by that name.
//
// Errors: ErrNotFound; a harvest that has the name already.
func (b *Book) RenameHarvest(ctx context.Context, from, to string) error {
	return b.write(ctx, func(tx *sql.Tx) error {
		id, err := harvestID(ctx, tx, from)
		if err != nil {
			return err
		}
		if other, err := harvestID(ctx, tx, to); err == nil && other != id {
			return fmt.Errorf("there is a harvest %q in the book already; choose another name", to)
		}
		if _, err := tx.ExecContext(ctx, "UPDATE harvests SET name = ? WHERE id = ?", to, id); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `UPDATE plantings SET name = ?1 WHERE name = ?2 AND NOT EXISTS (SELECT 1 FROM plantings WHERE name = ?1)
			AND id IN (SELECT planting_id FROM harvest_plantings WHERE harvest_id = ?3)
			AND id NOT IN (SELECT planting_id FROM harvest_plantings WHERE harvest_id <> ?3)`, to, from, id)
		return err
	})
}

// DeleteHarvest takes a harvest out of the book: its measurements, what was observed and decided by hand, and its
// notes. Seed lots, varieties and beds stay, and so does each plant that something was written down of. Make a Backup
// first: nothing brings it back.
//
// Errors: ErrNotFound.
func (b *Book) DeleteHarvest(ctx context.Context, name string) error {
	return b.write(ctx, func(tx *sql.Tx) error {
		id, err := harvestID(ctx, tx, name)
		if err != nil {
			return err
		}
		var planting sql.NullInt64 // made with the harvest, of no other
		if err := tx.QueryRowContext(ctx, `SELECT max(g.id) FROM plantings g JOIN harvest_plantings h ON h.planting_id = g.id AND h.harvest_id = ?1
			WHERE g.name = ?2 AND g.id NOT IN (SELECT planting_id FROM harvest_plantings WHERE harvest_id <> ?1)`, id, name).Scan(&planting); err != nil {
			return err
		}
		for _, q := range []string{
			"DELETE FROM notes WHERE subject = 'harvest' AND subject_id = ?1",
			"DELETE FROM harvests WHERE id = ?1", // and all that belongs to it
		} {
			if _, err := tx.ExecContext(ctx, q, id); err != nil {
				return err
			}
		}
		if !planting.Valid {
			return nil
		}
		for _, q := range []string{`DELETE FROM plants WHERE planting_id = ?1 AND lot_id IS NULL AND control = 0 AND habit || leaf || disease || fate || note = ''
			AND flowered IS NULL AND first_ripe IS NULL AND fruit_count IS NULL AND ripe_count IS NULL AND weight_g IS NULL AND pollination = 'unknown'
			AND NOT EXISTS (SELECT 1 FROM pictures x WHERE x.plant_id = plants.id)
			AND NOT EXISTS (SELECT 1 FROM observations x WHERE x.plant_id = plants.id)
			AND NOT EXISTS (SELECT 1 FROM decisions x WHERE x.plant_id = plants.id)
			AND NOT EXISTS (SELECT 1 FROM lots x WHERE x.mother_id = plants.id OR x.father_id = plants.id)
			AND NOT EXISTS (SELECT 1 FROM notes x WHERE x.subject = 'plant' AND x.subject_id = plants.id)`,
			`DELETE FROM plantings WHERE id = ?1 AND bed_id IS NULL AND sown IS NULL AND planted IS NULL AND plants_set IS NULL AND isolation_m IS NULL AND note = ''
			AND NOT EXISTS (SELECT 1 FROM plants x WHERE x.planting_id = plantings.id)
			AND NOT EXISTS (SELECT 1 FROM notes x WHERE x.subject = 'planting' AND x.subject_id = plantings.id)`} {
			if _, err := tx.ExecContext(ctx, q, planting.Int64); err != nil {
				return err
			}
		}
		return nil
	})
}
