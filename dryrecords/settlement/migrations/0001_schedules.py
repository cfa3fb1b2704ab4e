"""Discount schedules, one at a time for a buyer's grain; every change written down; and the second wall."""

import django.contrib.postgres.constraints
import django.contrib.postgres.fields.ranges
import django.db.models.deletion
import dryrecords.core.ids
from django.db import migrations, models


TRIGGERS = """
CREATE TRIGGER journal_insert AFTER INSERT ON settlement_schedule REFERENCING NEW TABLE AS after_rows
    FOR EACH STATEMENT EXECUTE FUNCTION journal_record('schedules');
CREATE TRIGGER journal_update AFTER UPDATE ON settlement_schedule
    REFERENCING OLD TABLE AS before_rows NEW TABLE AS after_rows
    FOR EACH STATEMENT EXECUTE FUNCTION journal_record('schedules');
CREATE TRIGGER journal_delete AFTER DELETE ON settlement_schedule REFERENCING OLD TABLE AS before_rows
    FOR EACH STATEMENT EXECUTE FUNCTION journal_record('schedules');
"""
NO_TRIGGERS = """
DROP TRIGGER journal_insert ON settlement_schedule;
DROP TRIGGER journal_update ON settlement_schedule;
DROP TRIGGER journal_delete ON settlement_schedule;
"""
WALL = """
ALTER TABLE settlement_schedule ENABLE ROW LEVEL SECURITY;
ALTER TABLE settlement_schedule FORCE ROW LEVEL SECURITY;
CREATE POLICY wall ON settlement_schedule USING (organization_id = ANY (
    (SELECT string_to_array(current_setting('dryrecords.organizations', true), ',')::uuid[])::uuid[]));
"""
NO_WALL = """
DROP POLICY wall ON settlement_schedule;
ALTER TABLE settlement_schedule NO FORCE ROW LEVEL SECURITY;
ALTER TABLE settlement_schedule DISABLE ROW LEVEL SECURITY;
"""


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        # Its extension lets an index of spans hold numbers and text as well.
        ('harvest', '0003_batch_occupancy'),
        ('journal', '0002_history_by_trigger'),
        ('tenancy', '0005_doors'),
    ]

    operations = [
        migrations.CreateModel(
            name='Schedule',
            fields=[
                ('id', models.UUIDField(default=dryrecords.core.ids.new_id, editable=False, primary_key=True, serialize=False)),
                ('version', models.IntegerField(default=1, editable=False)),
                ('created_at', models.DateTimeField(editable=False)),
                ('updated_at', models.DateTimeField(editable=False)),
                ('deleted_at', models.DateTimeField(editable=False, null=True)),
                ('effective_from', models.DateTimeField()),
                ('buyer', models.CharField(max_length=200)),
                ('crop', models.CharField(choices=[('corn', 'Corn'), ('soybean', 'Soybean'), ('wheat', 'Wheat'), ('sorghum', 'Sorghum'), ('barley', 'Barley'), ('oats', 'Oats'), ('rye', 'Rye'), ('flax', 'Flax'), ('canola', 'Canola'), ('rough_rice', 'Rough Rice'), ('sunflower', 'Sunflower')], max_length=10)),
                ('effective_to', models.DateTimeField(null=True)),
                ('disposition', models.CharField(choices=[('any', 'Any'), ('sold', 'Sold'), ('stored', 'Stored')], default='any', max_length=6)),
                ('jurisdiction', models.CharField(blank=True, default='', max_length=100)),
                ('rules', models.JSONField()),
                ('organization', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='tenancy.organization')),
            ],
            options={
                'indexes': [models.Index(fields=['organization', '-effective_from', 'id'], name='schedule_listed')],
                'constraints': [models.UniqueConstraint(fields=('organization', 'id'), name='schedule_of_organization'), models.CheckConstraint(condition=models.Q(('effective_to__gt', models.F('effective_from')), ('effective_to__isnull', True), _connector='OR'), name='schedule_ends_after_it_begins', violation_error_code='times_out_of_order', violation_error_message='effective_to|must be after effective_from.'), django.contrib.postgres.constraints.ExclusionConstraint(condition=models.Q(('deleted_at__isnull', True)), expressions=[('organization', '='), ('buyer', '='), ('crop', '='), (models.Func(models.Case(models.When(disposition='stored', then=1), default=0), models.Case(models.When(disposition='sold', then=1), default=2), function='int4range', output_field=django.contrib.postgres.fields.ranges.IntegerRangeField()), '&&'), (models.Func(models.F('effective_from'), models.F('effective_to'), function='tstzrange', output_field=django.contrib.postgres.fields.ranges.DateTimeRangeField()), '&&')], name='schedule_one_at_a_time', violation_error_code='overlaps', violation_error_message='effective_from|overlaps a schedule of this buyer, crop and disposition.')],
            },
        ),
        migrations.RunSQL(TRIGGERS, NO_TRIGGERS),
        migrations.RunSQL(WALL, NO_WALL),
    ]
