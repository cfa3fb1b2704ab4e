-- A page of batches as the API lists them, built by PostgreSQL alone: trade units, times in UTC, blanks as null.
SELECT json_build_object('results', json_agg(page))::text
FROM (
    SELECT
        b.id,
        b.version,
        to_char(b.created_at, 'YYYY-MM-DD"T"HH24:MI:SS"Z"') AS created_at,
        to_char(b.updated_at, 'YYYY-MM-DD"T"HH24:MI:SS"Z"') AS updated_at,
        b.dryer_id AS dryer,
        b.crop,
        -- An alias that is also a column's name must not be what the rows are ordered by: no index knows it.
        to_char(b.started_at, 'YYYY-MM-DD"T"HH24:MI:SS"Z"') AS started_at,
        b.lot_id AS lot,
        b.season,
        b.bin_id AS bin,
        to_char(b.drying_ended_at, 'YYYY-MM-DD"T"HH24:MI:SS"Z"') AS drying_ended_at,
        to_char(b.cooling_ended_at, 'YYYY-MM-DD"T"HH24:MI:SS"Z"') AS cooling_ended_at,
        to_char(b.emptied_at, 'YYYY-MM-DD"T"HH24:MI:SS"Z"') AS emptied_at,
        b.wet_mass_kg / 0.45359237 AS wet_mass_lb,
        b.fill_depth_m / 0.3048 AS fill_depth_ft,
        b.fill_peaked,
        b.dry_mass_kg / 0.45359237 AS dry_mass_lb,
        b.mass_basis,
        b.test_weight_kg_m3 * (2150.42 * 0.0254 ^ 3 / 0.45359237) AS test_weight_lb_bu,
        b.plenum_temp_c * 1.8 + 32 AS plenum_temp_f,
        b.cutoff_temp_c * 1.8 + 32 AS cutoff_temp_f,
        b.drying_limit_s / 3600 AS drying_limit_h,
        b.cooling_s / 60 AS cooling_min,
        nullif(b.stop_reason, '') AS stop_reason,
        b.ambient_temp_c * 1.8 + 32 AS ambient_temp_f,
        b.ambient_rh_pct,
        b.grain_temp_c * 1.8 + 32 AS grain_temp_f,
        CASE
            WHEN b.refills = '[]' THEN '[]'::json
            ELSE (
                SELECT json_agg(json_build_object(
                    'at', to_char((part ->> 'at')::timestamptz, 'YYYY-MM-DD"T"HH24:MI:SS"Z"'),
                    'mass_lb', (part ->> 'mass_kg')::float8 / 0.45359237,
                    'moisture_pct', (part ->> 'moisture_pct')::float8))
                FROM jsonb_array_elements(b.refills) AS part)
        END AS refills,
        nullif(b.note, '') AS note
    FROM harvest_batch b
    WHERE b.organization_id = %s AND b.deleted_at IS NULL
    ORDER BY b.started_at DESC, b.id DESC
    LIMIT 200
) page
