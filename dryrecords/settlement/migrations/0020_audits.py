"""Audits of tickets and their findings; a finding stays in its audit's organization; and the second wall."""

import django.db.models.deletion
import django.utils.timezone
import dryrecords.core.ids
from django.db import migrations, models

TABLES = ["settlement_audit", "settlement_finding"]
WALL = """
ALTER TABLE {table} ENABLE ROW LEVEL SECURITY;
ALTER TABLE {table} FORCE ROW LEVEL SECURITY;
CREATE POLICY wall ON {table} USING (organization_id = ANY (
    (SELECT string_to_array(current_setting('dryrecords.organizations', true), ',')::uuid[])::uuid[]));
"""
NO_WALL = """
DROP POLICY wall ON {table};
ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY;
ALTER TABLE {table} DISABLE ROW LEVEL SECURITY;
"""
SAME_ORGANIZATION = """
ALTER TABLE settlement_finding ADD CONSTRAINT settlement_finding_audit_id_same_organization
    FOREIGN KEY (organization_id, audit_id) REFERENCES settlement_audit (organization_id, id)
"""
NO_SAME_ORGANIZATION = "ALTER TABLE settlement_finding DROP CONSTRAINT settlement_finding_audit_id_same_organization"


class Migration(migrations.Migration):

    dependencies = [
        ('settlement', '0011_statements'),
        ('tenancy', '0005_doors'),
    ]

    operations = [
        migrations.CreateModel(
            name='Audit',
            fields=[
                ('id', models.UUIDField(default=dryrecords.core.ids.new_id, editable=False, primary_key=True, serialize=False)),
                ('buyer', models.CharField(max_length=200)),
                ('crop', models.CharField(max_length=10)),
                ('season', models.IntegerField(null=True)),
                ('delivered_from', models.DateTimeField(null=True)),
                ('delivered_to', models.DateTimeField(null=True)),
                ('actor', models.CharField(max_length=200)),
                ('device', models.CharField(blank=True, default='', max_length=200)),
                ('request_id', models.CharField(blank=True, default='', max_length=64)),
                ('role', models.CharField(max_length=10)),
                ('token_id', models.UUIDField(null=True)),
                ('state', models.CharField(choices=[('waiting', 'Waiting'), ('running', 'Running'), ('done', 'Done'), ('failed', 'Failed'), ('cancelled', 'Cancelled')], default='waiting', max_length=9)),
                ('tickets', models.IntegerField(null=True)),
                ('tickets_done', models.IntegerField(default=0)),
                ('findings', models.IntegerField(default=0)),
                ('after_delivered_at', models.DateTimeField(null=True)),
                ('after_id', models.UUIDField(null=True)),
                ('tally', models.JSONField(default=dict)),
                ('error', models.TextField(blank=True, default='')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('finished_at', models.DateTimeField(null=True)),
                ('run_after', models.DateTimeField(default=django.utils.timezone.now)),
                ('attempts', models.IntegerField(default=0)),
                ('organization', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='tenancy.organization')),
            ],
        ),
        migrations.CreateModel(
            name='Finding',
            fields=[
                ('id', models.UUIDField(default=dryrecords.core.ids.new_id, editable=False, primary_key=True, serialize=False)),
                ('place', models.IntegerField()),
                ('kind', models.CharField(choices=[('no_schedule', 'No Schedule'), ('statutory_shrink', 'Statutory Shrink'), ('net_bushels', 'Net Bushels'), ('shrink', 'Shrink'), ('discount', 'Discount'), ('drying_charge', 'Drying Charge'), ('amount', 'Amount'), ('duplicate', 'Duplicate'), ('moisture_disagreement', 'Moisture Disagreement'), ('rounding_bias', 'Rounding Bias'), ('meter_bias', 'Meter Bias')], max_length=21)),
                ('consequence_of', models.CharField(blank=True, choices=[('no_schedule', 'No Schedule'), ('statutory_shrink', 'Statutory Shrink'), ('net_bushels', 'Net Bushels'), ('shrink', 'Shrink'), ('discount', 'Discount'), ('drying_charge', 'Drying Charge'), ('amount', 'Amount'), ('duplicate', 'Duplicate'), ('moisture_disagreement', 'Moisture Disagreement'), ('rounding_bias', 'Rounding Bias'), ('meter_bias', 'Meter Bias')], default='', max_length=21)),
                ('ticket_id', models.UUIDField(null=True)),
                ('schedule_id', models.UUIDField(null=True)),
                ('number', models.CharField(blank=True, default='', max_length=100)),
                ('delivered_at', models.DateTimeField(null=True)),
                ('unit', models.CharField(blank=True, default='', max_length=10)),
                ('expected', models.DecimalField(decimal_places=6, max_digits=18, null=True)),
                ('stated', models.DecimalField(decimal_places=6, max_digits=18, null=True)),
                ('difference', models.DecimalField(decimal_places=6, max_digits=18, null=True)),
                ('effect_usd', models.DecimalField(decimal_places=4, max_digits=18, null=True)),
                ('rule', models.TextField()),
                ('explanations', models.JSONField(default=list)),
                ('figures', models.JSONField(null=True)),
                ('audit', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='settlement.audit')),
                ('organization', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='tenancy.organization')),
            ],
        ),
        migrations.AddIndex(
            model_name='audit',
            index=models.Index(fields=['organization', '-created_at', 'id'], name='audit_listed'),
        ),
        migrations.AddIndex(
            model_name='audit',
            index=models.Index(condition=models.Q(('state__in', ['waiting', 'running'])), fields=['run_after'], name='audit_open'),
        ),
        migrations.AddConstraint(
            model_name='audit',
            constraint=models.UniqueConstraint(fields=('organization', 'id'), name='audit_of_organization'),
        ),
        migrations.AddIndex(
            model_name='finding',
            index=models.Index(fields=['audit', 'kind', '-place'], name='finding_of_kind'),
        ),
        migrations.AddIndex(
            model_name='finding',
            index=models.Index(fields=['audit', 'ticket_id'], name='finding_of_ticket'),
        ),
        migrations.AddConstraint(
            model_name='finding',
            constraint=models.UniqueConstraint(fields=('audit', 'place'), name='finding_once'),
        ),
        migrations.RunSQL(SAME_ORGANIZATION, NO_SAME_ORGANIZATION),
        *[migrations.RunSQL(WALL.format(table=table), NO_WALL.format(table=table)) for table in TABLES],
    ]
